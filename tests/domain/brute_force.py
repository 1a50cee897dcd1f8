"""A small shop cut from the demo shop, and every combination of it tried one by one. Invented.

Nothing here uses the table of choices: a combination works when no rule blocks it. Of print widths
the whole millimetres beside the ends of the rules' ranges are tried, where alone a verdict changes;
that a rule blocks exactly outside its range is tested with the rules.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import product
from math import ceil, floor, isfinite

from hypothesis import strategies as st

from service.catalogue.loading import demo_shop_path, load_catalogue
from service.domain.artwork import ArtworkMeasures, InkBox, PaletteColour, ShapeMeasures
from service.domain.blanks import Blank
from service.domain.chain import Chain
from service.domain.compiled import CompiledCatalogue, compile_catalogue
from service.domain.facts import facts_for
from service.domain.rules import RULES, Facts, Rule, Severity
from service.domain.shop import Catalogue
from service.domain.wishes import Choice, Consent, Decoration, Line

KEPT_BLANKS: Mapping[str, tuple[str, ...]] = {
    "classic-cotton-tee": ("white", "black"),
    "sport-polyester-tee": ("white", "red"),
    "half-blend-tee": ("white", "forest"),
    "cotton-long-sleeve": ("black", "olive"),
}
KEPT_SIZES = frozenset({"S", "L", "3XL"})
KEPT_PLACEMENTS = frozenset({"front", "left-chest", "sleeve"})
KEPT_METHODS = (
    "dye-transfer",
    "printed-film",
    "cut-film",
    "low-heat-cut-film",
    "dye-on-white-film",
)
KEPT_OVERLAPS = frozenset({"half-blend-tee"})
"""Elsewhere the left chest may stand beside the front, so that other rules can be seen there."""
KEPT_FILM_COLOURS = frozenset({"white", "brick", "cherry"})
"""Olive long sleeves cannot be had in 3XL; the half blend asks for consent under dye."""

BLOCKING = tuple(rule for rule in RULES if rule.may_block)
GIVEN_OR_ALL = (frozenset[Consent](), frozenset(Consent))


@lru_cache(maxsize=1)
def small_shop() -> CompiledCatalogue:
    """The small shop. Each test process makes it once, so what it remembers is shared."""
    return new_small_shop()


def new_small_shop(**changes: object) -> CompiledCatalogue:
    """A small shop that remembers nothing yet; ``changes`` replace fields of its catalogue."""
    catalogue = load_catalogue(demo_shop_path()).catalogue
    fields = {name: getattr(catalogue, name) for name in Catalogue.model_fields}
    cut = {
        "blanks": tuple(_cut(b) for b in catalogue.blanks if b.id in KEPT_BLANKS),
        "methods": tuple(m for m in catalogue.methods if m.id in KEPT_METHODS),
        "media": tuple(
            medium.model_copy(
                update={
                    "colours": tuple(
                        colour
                        for colour in medium.colours
                        if colour.id in KEPT_FILM_COLOURS or len(medium.colours) == 1
                    )
                }
            )
            for medium in catalogue.media
        ),
    }
    return compile_catalogue(Catalogue.model_construct(**{**fields, **cut, **changes}), "small")


def lying_apart(blank: Blank) -> Blank:
    """The blank, none of whose placements overlap."""
    apart = tuple(p.model_copy(update={"overlaps": ()}) for p in blank.placements)
    return blank.model_copy(update={"placements": apart})


def _cut(whole: Blank) -> Blank:
    blank = whole if whole.id in KEPT_OVERLAPS else lying_apart(whole)
    return blank.model_copy(
        update={
            "colours": tuple(c for c in blank.colours if c.id in KEPT_BLANKS[blank.id]),
            "sizes": tuple(size for size in blank.sizes if size.size in KEPT_SIZES),
            "placements": tuple(
                placement.model_copy(
                    update={"areas": {s: a for s, a in placement.areas.items() if s in KEPT_SIZES}}
                )
                for placement in blank.placements
                if placement.id in KEPT_PLACEMENTS
            ),
        }
    )


def measured(
    *colours: str,
    aspect: float = 0.5,
    width_px: int = 3_000,
    feature: float = 0.05,
    gap: float = 1.0,
    photo: bool = False,
) -> ArtworkMeasures:
    """A picture of equal shares of the colours; finest part and gap as shares of its width."""
    height = max(1, round(width_px * aspect))
    return ArtworkMeasures(
        width_px=width_px,
        height_px=height,
        ink_box=InkBox(left=0, top=0, width=width_px, height=height),
        has_alpha=True,
        opaque_share=0.6,
        soft_alpha_share=0.0,
        near_white_share=0.0,
        palette=tuple(PaletteColour(srgb=srgb, share=1 / len(colours)) for srgb in colours),
        shapes=ShapeMeasures(
            pieces=3, holes=0, outline_length=6, smallest_feature=feature, smallest_gap=gap
        ),
        photo_like=photo,
    )


ARTWORKS: Mapping[str, ArtworkMeasures] = {
    "three colours": measured("#c01020", "#2040c0", "#f0d020"),
    "black": measured("#101010"),
    "white": measured("#ffffff", aspect=2.0),
    "photograph": measured("#c01020", "#2040c0", "#f0d020", photo=True),
    "fine lines": measured("#c01020", feature=0.004, gap=0.006),
    "hair lines": measured("#101010", feature=0.0031, aspect=1.3),
    "one part too fine for small sizes": measured("#c01020", feature=0.00345),
    "a hair narrower than a whole number": measured("#c01020", aspect=1.1867, width_px=10_000),
    "few pixels": measured("#c01020", "#101010", width_px=700, aspect=1.37),
    "never measured": measured("#c01020").model_copy(update={"shapes": None, "photo_like": None}),
}


@dataclass(frozen=True)
class Combination:
    """One way to make a decoration, sizes and width apart; ``garment`` is the garment's key."""

    garment: tuple[str, str]
    placement_id: str
    method_id: str
    film_colour_id: str | None


@dataclass(frozen=True)
class Row:
    """A combination with sizes and width kept as asked or not, and with all consents or not."""

    combination: Combination
    sizes_kept: bool
    width_kept: bool
    consents_kept: bool


class BruteForce:
    """One artwork, width and sizes tried on every combination by rules that it is given.

    ``art`` None leaves out the rules that read the artwork, ``width_mm`` None allows any.
    """

    def __init__(
        self,
        shop: CompiledCatalogue,
        art: ArtworkMeasures | None,
        width_mm: float | None,
        sizes: Sequence[str],
        *,
        consents: frozenset[Consent] = frozenset(),
        rights: bool = True,
        rules: Sequence[Rule] = BLOCKING,
    ) -> None:
        """Nothing is tried yet."""
        self.shop = shop
        self.art = art
        self.width_mm = width_mm
        self.sizes = tuple(sizes)
        self.consents = consents
        self.rights = rights
        self.rules = tuple(rules)
        self._known: dict[object, Facts] = {}
        self._apart: dict[object, bool] = {}
        self._nearest: dict[object, float | None] = {}
        self._split: dict[str, tuple[list[Rule], list[Rule]]] = {}

    def judge_by(self, rules: Sequence[Rule]) -> None:
        """From now on, block by these rules alone."""
        self.rules = tuple(rules)
        self._apart, self._nearest, self._split = {}, {}, {}

    def ask_width(self, width_mm: float) -> None:
        """From now on, ask for this width."""
        self.width_mm = width_mm
        self._nearest = {}

    def combinations(self, film_colour_id: str | None) -> Iterator[Combination]:
        """Every combination that exists, with the film colours a method has and the one asked."""
        for (key, garment), (method_id, chain) in product(
            self.shop.garments.items(), self.shop.chains.items()
        ):
            named = [colour.id for layer in chain.layers for colour in layer.colours]
            for colour in dict.fromkeys([None, film_colour_id, *named]):
                for placement_id in garment.placements:
                    yield Combination(key, placement_id, method_id, colour)

    def rows(self, film_colour_id: str | None) -> dict[Row, bool]:
        """Whether each row works."""
        found = {}
        for combination in self.combinations(film_colour_id):
            for kept in product((True, False), repeat=3):
                row = Row(combination, *kept)
                found[row] = self.works(row)
        return found

    def works(self, row: Row) -> bool:
        """Whether the row works in some width and sizes that it leaves open."""
        combination = row.combination
        own_sizes = self.shop.garments[combination.garment].half_chest_mm
        groups = [self.sizes] if row.sizes_kept else [(size,) for size in own_sizes]
        consents = self.consents if row.consents_kept else frozenset(Consent)
        return any(
            self.nearest_width(combination, sizes, consents, kept=row.width_kept) is not None
            for sizes in groups
        )

    def nearest_width(
        self,
        combination: Combination,
        sizes: Sequence[str],
        consents: frozenset[Consent],
        *,
        kept: bool = False,
    ) -> float | None:
        """The width asked for if it works; else, unless it is kept, the nearest whole mm."""
        placement = self.shop.garments[combination.garment].placements[combination.placement_id]
        if not set(sizes) <= set(placement.areas):
            return None
        if self._blocked_apart(combination, self._facts(combination, sizes, consents), consents):
            return None
        key = (combination, tuple(sizes), kept)
        if key not in self._nearest:
            self._nearest[key] = self._by_size(combination, sizes, kept=kept)
        return self._nearest[key]

    def _by_size(
        self, combination: Combination, sizes: Sequence[str], *, kept: bool
    ) -> float | None:
        rules = self._rules(combination.method_id)[1]
        facts = self._facts(combination, sizes, self.consents)
        asked = self.width_mm
        candidates = [] if asked is None else [asked]
        if asked is None or not kept:
            candidates += sorted(_widths(rules, facts), key=lambda mm: (abs(mm - (asked or 0)), mm))
        return next((mm for mm in candidates if not _blocked(rules, _wide(facts, mm))), None)

    def widths_that_work(
        self, combination: Combination, sizes: Sequence[str], consents: frozenset[Consent]
    ) -> list[int]:
        """Every whole mm up to a metre that no rule blocks, each tried."""
        facts = self._facts(combination, sizes, consents)
        if self._blocked_apart(combination, facts, consents):
            return []
        by_size = self._rules(combination.method_id)[1]
        return [mm for mm in range(1, 1_001) if not _blocked(by_size, _wide(facts, float(mm)))]

    def _facts(
        self, combination: Combination, sizes: Sequence[str], consents: frozenset[Consent]
    ) -> Facts:
        key = (combination, tuple(sizes), consents)
        if key not in self._known:
            decoration = Decoration(
                placement_id=combination.placement_id,
                artwork_id="art",
                artwork=self.art or ARTWORKS["black"],
                width_mm=self.width_mm or 100.0,
                method_id=combination.method_id,
                film_colour_id=combination.film_colour_id,
                consents=consents,
                rights_declared=self.rights,
            )
            garment = self.shop.garments[combination.garment]
            line = Line(garment, dict.fromkeys(sizes, 1), (decoration,))
            self._known[key] = facts_for(self.shop, line, decoration, combination.method_id)
        return self._known[key]

    def _blocked_apart(
        self, combination: Combination, facts: Facts, consents: frozenset[Consent]
    ) -> bool:
        """Whether a rule blocks that reads neither width nor sizes; tried once for all of them."""
        key = (combination, consents)
        if key not in self._apart:
            self._apart[key] = _blocked(self._rules(combination.method_id)[0], facts)
        return self._apart[key]

    def _rules(self, method_id: str) -> tuple[list[Rule], list[Rule]]:
        """Rules that read neither width nor sizes, and those that do."""
        if method_id not in self._split:
            self._split[method_id] = self._split_rules(self.shop.chains[method_id])
        return self._split[method_id]

    def _split_rules(self, chain: Chain) -> tuple[list[Rule], list[Rule]]:
        apart: list[Rule] = []
        by_size: list[Rule] = []
        for rule in self.rules:
            wide = bool({Choice.WIDTH, Choice.SIZES} & rule.reads)
            reads = rule.reads if wide else rule.reads_for(chain)
            if self.art is not None or Choice.ARTWORK not in reads:
                (by_size if wide else apart).append(rule)
        return apart, by_size


def _blocked(rules: Iterable[Rule], facts: Facts) -> bool:
    return any(
        reading.severity is Severity.BLOCKS for rule in rules for reading in rule.evaluate(facts)
    )


def _wide(facts: Facts, width_mm: float) -> Facts:
    return replace(facts, decoration=replace(facts.decoration, width_mm=width_mm))


def _widths(rules: Iterable[Rule], facts: Facts) -> set[float]:
    """Every whole width beside an end of some rule's range, where alone a verdict changes."""
    ends = {1.0}
    for rule in rules:
        if rule.widths is not None:
            for end in filter(isfinite, rule.widths(facts)):
                ends |= {floor(end) - 1.0, float(floor(end)), float(ceil(end)), ceil(end) + 1.0}
    return {end for end in ends if end >= 1}


def granted(row: Row, line: Line, decoration: Decoration) -> frozenset[Choice]:
    """Which of the customer's choices the row keeps; a method that was left open is none."""
    combination, garment = row.combination, line.garment
    kept = {
        Choice.METHOD: combination.method_id == decoration.method_id,
        Choice.FILM_COLOUR: combination.film_colour_id == decoration.film_colour_id,
        Choice.COLOUR: combination.garment[1] == garment.colour_id,
        Choice.BLANK: combination.garment[0] == garment.blank_id,
        Choice.PLACEMENT: combination.placement_id == decoration.placement_id,
        Choice.SIZES: row.sizes_kept,
        Choice.WIDTH: row.width_kept,
        Choice.CONSENTS: row.consents_kept,
    }
    return frozenset(choice for choice, is_kept in kept.items() if is_kept)


@st.composite
def wished(draw: st.DrawFn) -> tuple[Line, Decoration]:
    """A line of the small shop with one decoration; most of these are refused."""
    shop = small_shop()
    garment = draw(st.sampled_from(list(shop.garments.values())))
    sizes = draw(
        st.lists(
            st.sampled_from(sorted(garment.half_chest_mm)), min_size=1, max_size=2, unique=True
        )
    )
    decoration = Decoration(
        placement_id=draw(st.sampled_from(list(garment.placements))),
        artwork_id="art",
        artwork=ARTWORKS[draw(st.sampled_from(list(ARTWORKS)))],
        width_mm=draw(st.sampled_from([40.0, 85.5, 200.0, 300.03, 600.0])),
        method_id=draw(st.sampled_from([None, *KEPT_METHODS])),
        film_colour_id=draw(st.sampled_from([None, None, *sorted(KEPT_FILM_COLOURS)])),
        consents=draw(st.sampled_from(GIVEN_OR_ALL)),
        rights_declared=draw(st.sampled_from([True, True, True, False])),
    )
    return Line(garment, dict.fromkeys(sizes, 2), (decoration,)), decoration
