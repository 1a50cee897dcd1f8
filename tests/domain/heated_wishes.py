"""Garments, wishes and neighbours for tests of what heat and dye do. All invented."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from hypothesis import strategies as st

from service.domain.colour import lab_from_srgb_hex
from service.domain.compiled import CompiledCatalogue
from service.domain.fibres import Fibre, FibreContent, FibreShare
from service.domain.garments import Garment
from service.domain.rules.contract import Facts, Neighbour, Rule, Severity
from service.domain.wishes import Choice, Consent, Decoration
from tests.domain.garments_and_lines import artwork, cloth, decoration, demo_shop
from tests.domain.rule_facts import facts_of, fits_a_template, readings

METHODS = [method.id for method in demo_shop().catalogue.methods]
WHITE, GREY, RED, BLACK = "#ffffff", "#a0a0a5", "#b01020", "#141414"


def of_content(content: FibreContent, srgb: str = WHITE) -> Garment:
    """A garment of that content, inside and out."""
    return replace(cloth(srgb), face=content, whole=content)


def neighbour(
    garment: Garment,
    wished: Decoration | str,
    *,
    earlier: bool,
    shop: CompiledCatalogue | None = None,
) -> Neighbour:
    """Another decoration of the garment, at its back."""
    facts = facts_of(garment, wished, shop)
    other = replace(facts.decoration, placement_id="back")
    return Neighbour(other, facts.chain, facts.settings, earlier)


@dataclass(frozen=True)
class HeatedWish:
    """A value for every choice that heat and dye may depend on."""

    choices: Mapping[Choice, Any]

    def facts(self) -> Facts:
        """What a rule reads of it."""
        chosen = self.choices
        face, whole = chosen[Choice.BLANK]
        srgb = chosen[Choice.COLOUR]
        garment = replace(
            cloth(srgb), face=face, whole=whole, colour_name=srgb, lab=lab_from_srgb_hex(srgb)
        )
        beside = tuple(
            neighbour(
                garment,
                decoration(method, art=artwork(colour), film_colour_id=film),
                earlier=earlier,
            )
            for method, colour, film, earlier in chosen[Choice.OTHER_DECORATIONS]
        )
        wished = decoration(
            chosen[Choice.METHOD],
            art=chosen[Choice.ARTWORK],
            film_colour_id=chosen[Choice.FILM_COLOUR],
            consents=chosen[Choice.CONSENTS],
        )
        return facts_of(garment, wished, neighbours=beside)


def says_the_same_of_what_it_reads(rule: Rule, one: HeatedWish, other: HeatedWish) -> None:
    """Assert that changing every choice the rule does not read changes nothing it says."""
    facts = one.facts()
    reads = rule.reads_for(facts.chain)
    assert reads <= rule.reads
    kept = {choice: one.choices[choice] for choice in reads}
    mixed = HeatedWish({**other.choices, Choice.METHOD: one.choices[Choice.METHOD], **kept})
    before = readings(rule, facts)
    assert before == readings(rule, mixed.facts())
    assert all(fits_a_template(rule, reading.reason) for reading in before)
    assert rule.may_block or not any(r.severity is Severity.BLOCKS for r in before)


@st.composite
def contents(draw: st.DrawFn) -> FibreContent:
    """Up to four fibres in whole percentages."""
    fibres = draw(st.lists(st.sampled_from(Fibre), min_size=1, max_size=4, unique=True))
    cuts = draw(
        st.lists(
            st.integers(1, 99), min_size=len(fibres) - 1, max_size=len(fibres) - 1, unique=True
        )
    )
    edges = [0, *sorted(cuts), 100]
    return FibreContent(
        shares=tuple(
            FibreShare.model_validate({"fibre": fibre, "percent": upper - lower})
            for fibre, lower, upper in zip(fibres, edges, edges[1:], strict=False)
        )
    )


def _common() -> st.SearchStrategy[FibreContent]:
    return st.sampled_from(
        [
            FibreContent.of(cotton=100),
            FibreContent.of(polyester=100),
            FibreContent.of(polyester=60, cotton=40),
            FibreContent.of(polyester=92, elastane=8),
            FibreContent.of(polyester=50, cotton=25, viscose=25),
        ]
    )


def heated_wishes() -> st.SearchStrategy[HeatedWish]:
    """Wishes of every method of the demo shop, on all kinds of cloth, beside up to two others."""
    colours = st.sampled_from([WHITE, GREY, RED, BLACK])
    content = _common() | contents()
    film = st.sampled_from([None, "white", "black"])
    other = st.tuples(st.sampled_from(METHODS), colours, film, st.booleans())
    choices: dict[Choice, st.SearchStrategy[Any]] = {
        Choice.METHOD: st.sampled_from(METHODS),
        Choice.BLANK: st.tuples(content, content),
        Choice.COLOUR: colours,
        Choice.ARTWORK: st.sampled_from([artwork(WHITE), artwork(BLACK), artwork(RED, "#f0d020")]),
        Choice.FILM_COLOUR: film,
        Choice.CONSENTS: st.sampled_from([frozenset(), frozenset(Consent)]),
        Choice.OTHER_DECORATIONS: st.lists(other, max_size=2),
    }
    return st.fixed_dictionaries(choices).map(HeatedWish)
