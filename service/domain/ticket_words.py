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
        Peel.WARM: "WARM, when a hand can just bear it",
        Peel.COLD: "COLD, when nothing is warm to the hand any more",
        Peel.NONE: "",
    }
)


@dataclass(frozen=True, slots=True)
class Said:
    """The words of one step; ``caution`` is empty where nothing hurts."""

    do: str
    why: str
    caution: str = ""


@dataclass(frozen=True, slots=True)
class Scene:
    """What the words of a step depend on.

    ``where`` is the placement's name and ``placed`` its distances; ``name`` is the medium's with
    its colour. ``printed`` says that the medium was printed earlier, ``again`` that it was pressed
    earlier. ``beneath`` are films already on the cloth there, and ``several`` says that parts made
    apart must lie on one another.
    """

    where: str
    placed: str
    name: str = ""
    medium: Medium | None = None
    mirrored: bool = False
    printed: bool = False
    again: bool = False
    beneath: tuple[Medium, ...] = ()
    several: bool = False
    cover: Cover = Cover.NONE
    peel: Peel = Peel.NONE
    wait_min: int = 0
    test_stripe: str = ""

    @property
    def paper(self) -> bool:
        """True for what only carries dye and is taken off again."""
        return self.medium is not None and not self.medium.stays_on_cloth

    @property
    def pvc(self) -> bool:
        """True when PVC film is heated."""
        return any(film.pvc for film in (*self.beneath, *((self.medium,) if self.medium else ())))


def words_of(kind: StepKind, scene: Scene, note: str = "") -> Said:
    """The words of a step, with the shop's own note behind what to do."""
    said = _WORDS[kind](scene)
    return Said(f"{said.do} {note}".rstrip(), said.why, said.caution)


def in_colour(name: str, colour: str) -> str:
    """A medium's name with its colour, unless the name says it already."""
    said = set(colour.lower().split()) <= set(name.lower().split())
    return name if said else f"{name}, {colour}"


def gather_words(
    garment: str, taken_from: str, blanks: Mapping[str, int], spares: int, media: tuple[str, ...]
) -> Said:
    """What to fetch: ``blanks`` by size, spares among them, and ``media`` with their lengths."""
    counts = ", ".join(f"{count} x {size}" for size, count in blanks.items())
    spare = f", {spares} of them spare" if spares else ""
    also = f" Fetch {'; '.join(media)}." if media else ""
    return Said(
        f"Gather {counts} of {garment} from {taken_from}{spare}.{also}",
        "A wrong size, colour or roll is found now, or after the print is on.",
    )


def _side(scene: Scene) -> str:
    reads = "backwards" if scene.mirrored else "the right way round"
    return f"{MIRROR_WORDS[scene.mirrored]} ({MIRROR_SIGNS[scene.mirrored]}: letters read {reads})"


def _print(scene: Scene) -> Said:
    first = f" Before the run: {scene.test_stripe}." if scene.test_stripe else ""
    return Said(
        f"Print on {scene.name}, {_side(scene)}.{first}",
        "The wrong way round it reads backwards on the garment; a gap in the test stripe is a gap "
        "in every picture.",
    )


def _dry(scene: Scene) -> Said:
    least = f" for {scene.wait_min} minutes at least" if scene.wait_min else ""
    return Said(
        f"Let the print on {scene.name} dry{least}.", "Wet ink smears and blisters in the press."
    )


def _cut(scene: Scene) -> Said:
    film = scene.medium
    lies = "face up"
    if film is not None and film.worked_from is WorkedFrom.BACK:
        lies = "film side down on its carrier, adhesive up" if film.carrier else "face down"
    marks = " Read the registration marks before the cut." if scene.printed else ""
    lower = "carrier" if film is not None and film.carrier else "backing"
    return Said(
        f"Load {scene.name} {lies}, and cut it {_side(scene)}.{marks} Cut and weed a small test "
        "square first.",
        "The wrong way round it reads backwards on the garment; too deep a cut goes through the "
        f"{lower}, too shallow a one tears at weeding.",
        "Keep fingers off the blade and its path.",
    )


def _weed(scene: Scene) -> Said:
    return Said(
        f"Weed {scene.name}: lift away all that is not artwork.",
        "What stays on is pressed on, and what is lifted by mistake is missing.",
        "Sharp tools.",
    )


def _lint_roll(_: Scene) -> Said:
    return Said(
        "Lint-roll every garment where it is decorated.",
        "A stray fibre shows through film for good and carries specks of dye.",
    )


def _pre_press(scene: Scene) -> Said:
    return Said(
        f"Pre-press the {scene.where}: flatten and dry the cloth.",
        "Damp or creased cloth blisters, ghosts and lifts.",
        BURNS,
    )


def _place(scene: Scene) -> Said:
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
    return Said(
        f"Place {scene.name} at the {scene.where}, {lies}{over}: {scene.placed}.",
        "A crooked or misplaced print is the first thing anyone sees, and it does not come off.",
        BURNS,
    )


def _place_paper(scene: Scene) -> Said:
    over = f" over the {_named(scene.beneath)}, picture on picture" if scene.beneath else ""
    return Said(
        f"Lay the print on {scene.name} FACE DOWN at the {scene.where}{over}: {scene.placed}. Tape "
        "it down. Do not move it from now on.",
        "Paper that shifts while dye is gas leaves a ghost that cannot be repaired.",
        BURNS,
    )


def _named(films: tuple[Medium, ...]) -> str:
    return " and ".join(film.name for film in films)


def _tack(scene: Scene) -> Said:
    return Said(
        f"Tack {scene.name} at the {scene.where}, only until it holds; cover: "
        f"{COVER_WORDS[scene.cover]}.",
        "A film fixed in full now is heated too long by the time the last strike is done.",
        _heat_caution(scene),
    )


def _press(scene: Scene) -> Said:
    cover = f"cover: {COVER_WORDS[scene.cover]}"
    if scene.paper:
        return Said(
            f"Press the {scene.where}; {cover}. Nothing may move until the press is open; lift the "
            "platen straight up.",
            "Too cool and the picture stays dull; too hot or too long and it blurs and the cloth "
            "yellows; paper that shifts leaves a ghost.",
            _heat_caution(scene),
        )
    again = " once more" if scene.again else ""
    return Said(
        f"Press {scene.name} at the {scene.where}{again}; {cover}.",
        "Too cool and it lifts in the wash; too hot and cloth or film is spoiled.",
        _heat_caution(scene),
    )


def _heat_caution(scene: Scene) -> str:
    pvc = " PVC film: never hotter than set here, and never without ventilation."
    return f"{BURNS} {EXHAUST}{pvc if scene.pvc else ''}"


def _peel(scene: Scene) -> Said:
    when = f" {PEEL_WORDS[scene.peel]}".rstrip()
    if scene.paper:
        return Said(
            f"Take {scene.name} off{when}, straight up in one move.",
            "Paper dragged over warm dye leaves a ghost that cannot be repaired.",
            BURNS,
        )
    carrier = scene.medium is not None and scene.medium.carrier
    what, late = ("carrier", "the carrier tears") if carrier else ("cover sheet", "it sticks")
    return Said(
        f"Peel the {what} off {scene.name}{when}, flat and slowly.",
        f"Peeled too early the edges lift; too late {late}.",
        BURNS,
    )


def _check(scene: Scene) -> Said:
    parts = " registration of the parts on one another," if scene.several else ""
    return Said(
        f"Check the {scene.where}: edges, colour against the proof,{parts} position.",
        "What leaves here is what the customer holds.",
    )


def _fold(_: Scene) -> Said:
    return Said(
        "Let it cool flat, fold it, and add the care card.",
        "Warm adhesive marks the next fold; without the card the first wash may be the last.",
    )


def _pack(_: Scene) -> Said:
    return Said("Count by size and pack.", "A wrong count is found by the customer.")


_WORDS: Mapping[StepKind, Callable[[Scene], Said]] = MappingProxyType(
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
