"""The words of every step: what to do, why it matters, and what can hurt.

Common practice, no source: the data sheets of press, film, ink and cloth, local codes and licensed
practice come first.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from service.domain.media import Medium, Peel, WorkedFrom
from service.domain.methods import Cover
from service.domain.ticket_steps import MIRROR_SIGNS, MIRROR_WORDS, StepKind

BURNS = "Hot platen: burns at a touch."
EXHAUST = "Exhaust on."

COVER_WORDS: Mapping[Cover, str] = MappingProxyType(
    {
        Cover.NONE: "no cover",
        Cover.FRESH_PAPER: "fresh uncoated paper, a new sheet for every stroke",
        Cover.NONSTICK_SHEET: "non-stick sheet",
    }
)
PEEL_WORDS: Mapping[Peel, str] = MappingProxyType(
    {
        Peel.HOT: "HOT, as soon as the press is open",
        Peel.WARM: "WARM",
        Peel.COLD: "COLD",
        Peel.NONE: "",
    }
)
COOLING_WORDS: Mapping[Peel, str] = MappingProxyType(
    {
        Peel.WARM: (
            "Let it cool on a cool, flat surface for the seconds its data sheet names, and try an "
            "edge with a tool or a gloved hand."
        ),
        Peel.COLD: "Let it lie on a cool, flat surface until it is as cool as the room.",
    }
)
"""How long to wait before a film is peeled; common practice, no source. No bare hand is told to
find out how hot something is."""

_KIND_WORDS: Mapping[StepKind, str] = MappingProxyType(
    {
        StepKind.LINT_ROLL: "lint-roll",
        StepKind.PRE_PRESS: "pre-press",
        StepKind.FOLD: "cool and fold",
    }
)


def kind_words(kind: StepKind) -> str:
    """What the hands do, as sheets and screens head a step with it: ``pre-press``, ``weed``."""
    return _KIND_WORDS.get(kind, kind.value)


@dataclass(frozen=True, slots=True)
class StepWords:
    """The words of one step; ``caution`` is empty where nothing hurts."""

    do: str
    why: str
    caution: str = ""


@dataclass(frozen=True, slots=True)
class Scene:
    """What the words of a step depend on.

    ``where`` is the placement's name and ``placed`` its distances; ``name`` is the medium's with
    its colour. ``printed`` says that the medium was printed earlier, ``again`` that it was pressed
    earlier. ``beneath`` are films already on the cloth there, ``elsewhere`` those pressed before at
    other places, each in words. ``several`` says that parts made apart must lie on one another, and
    ``proof`` that there is a picture to compare with.
    """

    where: str
    placed: str
    name: str = ""
    medium: Medium | None = None
    mirrored: bool = False
    printed: bool = False
    again: bool = False
    beneath: tuple[Medium, ...] = ()
    elsewhere: tuple[str, ...] = ()
    several: bool = False
    cover: Cover = Cover.NONE
    peel: Peel = Peel.NONE
    wait_min: int = 0
    proof: bool = True
    test_stripe: str = ""

    @property
    def paper(self) -> bool:
        """True for what only carries dye and is taken off again."""
        return self.medium is not None and not self.medium.stays_on_cloth

    @property
    def pvc(self) -> bool:
        """True when PVC film is heated."""
        return any(film.pvc for film in (*self.beneath, *((self.medium,) if self.medium else ())))


def words_of(kind: StepKind, scene: Scene, note: str = "") -> StepWords:
    """The words of a step, with the shop's own note behind what to do."""
    said = _WORDS[kind](scene)
    return StepWords(f"{said.do} {note}".rstrip(), said.why, said.caution)


def in_colour(name: str, colour: str) -> str:
    """A medium's name with its colour, unless the name says it already."""
    said = set(colour.lower().split()) <= set(name.lower().split())
    return name if said else f"{name}, {colour}"


def gathered_from(pick_location: str, *, supplied: bool) -> str:
    """Where blanks are taken from; ``supplied`` are those that the customer brought."""
    return "what the customer brought" if supplied else pick_location or "the shelf"


def gather_words(
    garment: str, taken_from: str, blanks: Mapping[str, int], spares: int, media: tuple[str, ...]
) -> StepWords:
    """What to fetch: ``blanks`` by size, spares among them, and ``media`` with their lengths."""
    counts = ", ".join(f"{count} x {size}" for size, count in blanks.items())
    spare = f", {spares} of them spare" if spares else ""
    also = f" Fetch {'; '.join(media)}." if media else ""
    return StepWords(
        f"Gather {counts} of {garment} from {taken_from}{spare}.{also}",
        "A wrong size, colour or roll is found now, or after the print is on.",
    )


def _side(scene: Scene) -> str:
    reads = "backwards" if scene.mirrored else "the right way round"
    return f"{MIRROR_WORDS[scene.mirrored]} ({MIRROR_SIGNS[scene.mirrored]}: letters read {reads})"


def _print(scene: Scene) -> StepWords:
    first = f" Before the run: {scene.test_stripe}." if scene.test_stripe else ""
    return StepWords(
        f"Print on {scene.name}, {_side(scene)}.{first}",
        "The wrong way round it reads backwards on the garment; a gap in the test stripe is a gap "
        "in every picture.",
    )


def _dry(scene: Scene) -> StepWords:
    least = f" for {scene.wait_min} minutes at least" if scene.wait_min else ""
    return StepWords(
        f"Let the print on {scene.name} dry{least}.", "Wet ink smears and blisters in the press."
    )


def _cut(scene: Scene) -> StepWords:
    film = scene.medium
    lies = "face up"
    if film is not None and film.worked_from is WorkedFrom.BACK:
        lies = "film side down on its carrier, adhesive up" if film.carrier else "face down"
    marks = " Read the registration marks before the cut." if scene.printed else ""
    lower = "carrier" if film is not None and film.carrier else "backing"
    return StepWords(
        f"Load {scene.name}: {lies}. Cut it {_side(scene)}.{marks} Cut and weed a small test "
        "square first.",
        "The wrong way round it reads backwards on the garment; too deep a cut goes through the "
        f"{lower}, too shallow a one tears at weeding.",
        "Keep fingers off the blade and its path.",
    )


def _weed(scene: Scene) -> StepWords:
    return StepWords(
        f"Weed {scene.name}: lift away all that is not artwork.",
        "What stays on is pressed on, and what is lifted by mistake is missing.",
        "Sharp tools.",
    )


def _lint_roll(_: Scene) -> StepWords:
    return StepWords(
        "Lint-roll every garment where it is decorated.",
        "A stray fibre shows through film for good and carries specks of dye.",
    )


def _pre_press(scene: Scene) -> StepWords:
    return StepWords(
        f"Pre-press the {scene.where}: flatten and dry the cloth.",
        "Damp or creased cloth blisters, ghosts and lifts.",
        f"{BURNS}{_keep_off(scene)}",
    )


def _place(scene: Scene) -> StepWords:
    if scene.paper:
        return _place_paper(scene)
    film = scene.medium
    if film is not None and film.carrier:
        lies = "carrier up"
    elif film is not None and film.worked_from is WorkedFrom.BACK:
        lies = "printed side down"
    else:
        lies = "face up, its backing off"
    over = f", on the {_named(scene.beneath)} beneath" if scene.beneath else ""
    return StepWords(
        f"Place {scene.name} at the {scene.where}, {lies}{over}: {scene.placed}.",
        "A crooked or misplaced print is the first thing anyone sees, and it does not come off.",
        BURNS,
    )


def _place_paper(scene: Scene) -> StepWords:
    over = f" over the {_named(scene.beneath)}, picture on picture" if scene.beneath else ""
    return StepWords(
        f"Lay the print on {scene.name} FACE DOWN at the {scene.where}{over}: {scene.placed}. Tape "
        "it down. Do not move it from now on.",
        "Paper that shifts while dye is gas leaves a ghost that cannot be repaired.",
        BURNS,
    )


def _named(films: tuple[Medium, ...]) -> str:
    return " and ".join(film.name for film in films)


def _tack(scene: Scene) -> StepWords:
    return StepWords(
        f"Tack {scene.name} at the {scene.where}, only until it holds; cover: "
        f"{COVER_WORDS[scene.cover]}.",
        "A film fixed in full now is heated too long by the time the last strike is done.",
        _heat_caution(scene),
    )


def _press(scene: Scene) -> StepWords:
    cover = f"cover: {COVER_WORDS[scene.cover]}"
    if scene.paper:
        return StepWords(
            f"Press the {scene.where}; {cover}. Nothing may move until the press is open; lift the "
            "platen straight up.",
            "Too cool and the picture stays dull; too hot or too long and it blurs and the cloth "
            "yellows; paper that shifts leaves a ghost.",
            _heat_caution(scene),
        )
    again = " once more" if scene.again else ""
    return StepWords(
        f"Press {scene.name} at the {scene.where}{again}; {cover}.",
        "Too cool and it lifts in the wash; too hot and cloth or film is spoiled.",
        _heat_caution(scene),
    )


def _heat_caution(scene: Scene) -> str:
    pvc = " PVC film: never hotter than set here, and never without ventilation."
    return f"{BURNS} {EXHAUST}{pvc if scene.pvc else ''}{_keep_off(scene)}"


def _keep_off(scene: Scene) -> str:
    """A strike heats what was pressed at another place before, unless it is spared."""
    films = " and ".join(scene.elsewhere)
    return f" Keep the {films} off the platen, and covered." if films else ""


_STILL_HOT: Mapping[Peel, str] = MappingProxyType(
    {
        Peel.HOT: "What is peeled is as hot: gloves.",
        Peel.WARM: "What is peeled is hot at first: gloves.",
        Peel.COLD: "",
        Peel.NONE: "",
    }
)


def _peel(scene: Scene) -> StepWords:
    when = f" {PEEL_WORDS[scene.peel]}".rstrip()
    hot = f"{BURNS} {_STILL_HOT[scene.peel]}".rstrip()
    if scene.paper:
        return StepWords(
            _cooled(scene.peel, f"take {scene.name} off{when}, straight up in one move."),
            "Paper dragged over warm dye leaves a ghost that cannot be repaired.",
            hot,
        )
    carrier = scene.medium is not None and scene.medium.carrier
    what, late = ("carrier", "the carrier tears") if carrier else ("cover sheet", "it sticks")
    return StepWords(
        _cooled(scene.peel, f"peel the {what} off {scene.name}{when}, flat and slowly."),
        f"Peeled too early the edges lift; too late {late}.",
        hot,
    )


def _cooled(peel: Peel, do: str) -> str:
    """What to do, in the order the hands move: after the wait that its peel asks for."""
    wait = COOLING_WORDS.get(peel)
    return f"{wait} Then {do}" if wait else f"{do[:1].upper()}{do[1:]}"


def _check(scene: Scene) -> StepWords:
    colour = "colour against the proof" if scene.proof else "colour against the artwork"
    parts = " registration of the parts on one another," if scene.several else ""
    return StepWords(
        f"Check the {scene.where} once it has cooled: edges, {colour},{parts} position.",
        "What leaves here is what the customer holds.",
    )


def _fold(_: Scene) -> StepWords:
    return StepWords(
        "Let it cool flat, fold it, and add the care card.",
        "Warm adhesive marks the next fold; without the card the first wash may be the last.",
    )


def _pack(_: Scene) -> StepWords:
    return StepWords("Count by size and pack.", "A wrong count is found by the customer.")


_WORDS: Mapping[StepKind, Callable[[Scene], StepWords]] = MappingProxyType(
    {
        StepKind.PRINT: _print,
        StepKind.DRY: _dry,
        StepKind.CUT: _cut,
        StepKind.WEED: _weed,
        StepKind.LINT_ROLL: _lint_roll,
        StepKind.PRE_PRESS: _pre_press,
        StepKind.PLACE: _place,
        StepKind.TACK: _tack,
        StepKind.PEEL: _peel,
        StepKind.PRESS: _press,
        StepKind.CHECK: _check,
        StepKind.FOLD: _fold,
        StepKind.PACK: _pack,
    }
)
