"""Random wishes on the demo shop, for tests that hold a rule to what it says of itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from hypothesis import strategies as st

from service.domain.artwork import ArtworkMeasures, ShapeMeasures
from service.domain.blanks import Obstacle, Placement, PlacementArea
from service.domain.colour import lab_from_srgb_hex
from service.domain.compiled import CompiledCatalogue
from service.domain.facts import facts_for
from service.domain.garments import Garment
from service.domain.rules.contract import Facts, Rule
from service.domain.wishes import Choice, Decoration, Line
from tests.domain.garments_and_lines import artwork, cloth, demo_shop
from tests.domain.rule_facts import blocks

SIZES = ("S", "M", "L")


@dataclass(frozen=True)
class Wish:
    """A value for every choice; the artwork's is the measures and whether rights are declared."""

    choices: Mapping[Choice, Any]

    def facts(self, shop: CompiledCatalogue | None = None) -> Facts:
        """What a rule reads of it, in the demo shop unless told otherwise."""
        chosen = self.choices
        art, declared = chosen[Choice.ARTWORK]
        wished = Decoration(
            placement_id=chosen[Choice.PLACEMENT],
            artwork_id="art_test",
            artwork=art,
            width_mm=chosen[Choice.WIDTH],
            method_id=chosen[Choice.METHOD],
            rights_declared=declared,
        )
        srgb = chosen[Choice.COLOUR]
        garment = replace(
            chosen[Choice.BLANK],
            srgb=srgb,
            lab=lab_from_srgb_hex(srgb),
            colour_name=srgb,
            colour_id=srgb,
        )
        line = Line(garment, dict.fromkeys(chosen[Choice.SIZES], 2), (wished,))
        return facts_for(shop or demo_shop(), line, wished, chosen[Choice.METHOD])

    def wide(self, width_mm: float) -> Wish:
        """The same wish in another width."""
        return Wish({**self.choices, Choice.WIDTH: width_mm})


def mixed(one: Wish, other: Wish, from_one: frozenset[Choice]) -> Wish:
    """The named choices of ``one``, all others of ``other``."""
    chosen = {choice: one.choices[choice] for choice in from_one if choice in one.choices}
    return Wish({**other.choices, **chosen})


def blocks_exactly_outside_its_widths(rule: Rule, wish: Wish) -> None:
    """Assert it, at the wish's width and 0.06 mm on both sides of each limit.

    Within 0.05 mm of a limit either answer is right: no hand places a print closer.
    """
    assert rule.widths is not None
    least, greatest = rule.widths(wish.facts())
    around = (least - 0.06, least + 0.06, greatest - 0.06, greatest + 0.06)
    for width in (wish.choices[Choice.WIDTH], *around):
        if not 0.01 < width < 1e6 or min(abs(width - least), abs(width - greatest)) <= 0.05:
            continue
        facts = wish.wide(width).facts()
        assert rule.widths(facts) == (least, greatest)
        assert blocks(rule, facts) == (not least <= width <= greatest)


def _placements(width_mm: float, height_mm: float) -> dict[str, Placement]:
    grows = {size: 1 + index / 10 for index, size in enumerate(SIZES)}
    return {
        id_: Placement(
            id=id_,
            name=id_,
            from_edge="collar seam",
            drop_mm=60,
            areas={
                size: PlacementArea(width_mm=width_mm * by, height_mm=height_mm * by)
                for size, by in grows.items()
            },
            crosses=crosses,
        )
        for id_, crosses in {"front": (), "zipped": (Obstacle.ZIP, Obstacle.SEAM)}.items()
    }


def blank(id_: str, half_chest_mm: float, width_mm: float, height_mm: float) -> Garment:
    """A garment in sizes S, M and L, each a tenth larger, with a front and a zipped front."""
    chests = {size: half_chest_mm * (1 + index / 10) for index, size in enumerate(SIZES)}
    placements = _placements(width_mm, height_mm)
    return replace(cloth(), blank_id=id_, half_chest_mm=chests, placements=placements)


BLANKS = (
    blank("small", 300, 150, 400),
    blank("wide", 500, 600, 200),
    blank("cotton-tote", 380, 220, 280),
)


def artworks() -> st.SearchStrategy[ArtworkMeasures]:
    """Pictures of every kind, measured in full or not."""
    share = st.floats(min_value=0.001, max_value=1)
    shapes = st.builds(
        lambda pieces, feature, gap: ShapeMeasures(
            pieces=pieces, holes=0, outline_length=3, smallest_feature=feature, smallest_gap=gap
        ),
        st.integers(min_value=1, max_value=40),
        share,
        share,
    )
    return st.builds(
        lambda drawn, changes: drawn.model_copy(update=changes),
        st.builds(
            lambda colours, aspect: artwork(*colours, aspect=aspect),
            st.sampled_from([("#101010",), ("#c01020", "#f0d020")]),
            st.floats(min_value=0.05, max_value=20),
        ),
        st.fixed_dictionaries(
            {
                "shapes": st.none() | shapes,
                "photo_like": st.sampled_from([None, True, False]),
                "background_srgb": st.sampled_from([None, "#ffffff", "#2040a0"]),
                "soft_alpha_share": st.sampled_from([0.0, 0.02, 0.3]),
            }
        ),
    )


def wishes() -> st.SearchStrategy[Wish]:
    """Wishes of every method of the demo shop."""
    choices: dict[Choice, st.SearchStrategy[Any]] = {
        Choice.METHOD: st.sampled_from([m.id for m in demo_shop().catalogue.methods]),
        Choice.BLANK: st.sampled_from(BLANKS),
        Choice.COLOUR: st.sampled_from(["#ffffff", "#202020"]),
        Choice.PLACEMENT: st.sampled_from(["front", "zipped"]),
        Choice.WIDTH: st.floats(min_value=1, max_value=700),
        Choice.SIZES: st.sampled_from([("S",), ("M", "L"), ("L",)]),
        Choice.ARTWORK: st.tuples(artworks(), st.booleans()),
    }
    return st.fixed_dictionaries(choices).map(Wish)
