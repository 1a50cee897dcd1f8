"""Facts made to measure for tests of single rules, what rules say of them, and one law of reading.

Wishes drawn at random, for the other laws, are in ``rule_situations`` and ``heated_wishes``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from functools import lru_cache
from string import Formatter

from hypothesis import strategies as st

from service.domain.blanks import Finish, Wearer
from service.domain.compiled import CompiledCatalogue, compile_catalogue
from service.domain.facts import facts_for
from service.domain.fibres import FibreContent
from service.domain.garments import Garment, SuppliedGarment, supplied_garment
from service.domain.rules.contract import Facts, Neighbour, Reading, Rule, Severity
from service.domain.shop import Catalogue, Policy
from service.domain.wishes import Choice, Consent, Decoration, Line
from tests.domain.garments_and_lines import artwork, decoration, demo_shop

_Changes = Mapping[str, Mapping[str, object]]


def shop_with(
    media: _Changes | None = None, blanks: _Changes | None = None, **policy: object
) -> CompiledCatalogue:
    """The demo shop with fields of some media and blanks, by id, and of its policy changed."""
    catalogue = demo_shop().catalogue
    ruled = Policy.model_validate({**catalogue.policy.model_dump(), **policy})
    if not media and not blanks:
        # Nothing that is compiled depends on the policy.
        return replace(demo_shop(), catalogue=catalogue.model_copy(update={"policy": ruled}))
    fields = {name: getattr(catalogue, name) for name in Catalogue.model_fields}
    for part, changes in (("media", media or {}), ("blanks", blanks or {})):
        fields[part] = tuple(
            one.model_copy(update=dict(changes.get(one.id, {}))) for one in fields[part]
        )
    return compile_catalogue(Catalogue.model_validate({**fields, "policy": ruled}), "changed")


def facts_of(
    garment: Garment,
    wished: Decoration | str,
    shop: CompiledCatalogue | None = None,
    *,
    sizes: tuple[str, ...] = ("M",),
    neighbours: tuple[Neighbour, ...] = (),
) -> Facts:
    """What rules read of one piece of each size by the method wished for, or of a bare method."""
    one = decoration(wished) if isinstance(wished, str) else wished
    line = Line(garment, dict.fromkeys(sizes, 1), (one,))
    facts = facts_for(shop or demo_shop(), line, one, one.method_id or "")
    return replace(facts, neighbours=neighbours)


def readings(rule: Rule, facts: Facts) -> list[Reading]:
    """All the rule says."""
    return list(rule.evaluate(facts))


def severities(rule: Rule, facts: Facts) -> list[Severity]:
    """The severities of a rule's readings, in order."""
    return [reading.severity for reading in rule.evaluate(facts)]


def the_reading(rule: Rule, facts: Facts) -> Reading:
    """The only reading of a rule."""
    (reading,) = rule.evaluate(facts)
    return reading


def gravest(rule: Rule, facts: Facts) -> Severity | None:
    """The gravest severity of what the rule says, None if it says nothing."""
    return max(severities(rule, facts), key=list(Severity).index, default=None)


def blocks(rule: Rule, facts: Facts) -> bool:
    """Whether the rule refuses."""
    return Severity.BLOCKS in severities(rule, facts)


def fits_a_template(rule: Rule, reason: str) -> bool:
    """True when the reason is one of the rule's templates, filled in."""
    return any(re.fullmatch(_pattern(template), reason) for template in rule.reasons.values())


def _pattern(template: str) -> str:
    parts = Formatter().parse(template)
    return "".join(re.escape(text) + ("" if field is None else ".*") for text, field, _, _ in parts)


@lru_cache(maxsize=1)
def _garments() -> tuple[Garment, ...]:
    described = SuppliedGarment(
        fibre_content=FibreContent.of(cotton=90, elastane=10),
        colour_srgb="#203060",
        finish=Finish.BRUSHED,
        weight_g_m2=80,
        wearer=Wearer.YOUTH,
        half_chest_mm=420,
    )
    own = supplied_garment(described, ("S", "M", "2XL"), ())
    return (*demo_shop().garments.values(), own)


@st.composite
def situations(draw: st.DrawFn) -> Facts:
    """Any garment of the demo shop, or a supplied one, and any decoration, fitting or not."""
    sizes = draw(st.sets(st.sampled_from(["S", "M", "L", "2XL", "3XL"]), min_size=1))
    art = artwork(*draw(st.sampled_from([("#101010",), ("#c01020", "#f0d020"), ("#ffffff",)])))
    wished = decoration(
        draw(st.sampled_from(sorted(demo_shop().chains))),
        width_mm=draw(st.floats(min_value=10, max_value=500)),
        art=art.model_copy(update={"opaque_share": draw(st.sampled_from([0.1, 0.6, 1.0]))}),
        film_colour_id=draw(st.sampled_from([None, "white", "black", "leaf", "neon"])),
        consents=draw(st.sampled_from([frozenset(), frozenset(Consent)])),
    )
    return facts_of(draw(st.sampled_from(_garments())), wished, sizes=tuple(sorted(sizes)))


def changed_but_for(reads: frozenset[Choice], one: Facts, other: Facts) -> Facts:
    """``other``, with the choices that are read as they are in ``one``."""
    mine, theirs = one.decoration, other.decoration
    wished = replace(
        theirs,
        method_id=(mine if Choice.METHOD in reads else theirs).method_id,
        width_mm=(mine if Choice.WIDTH in reads else theirs).width_mm,
        artwork=(mine if Choice.ARTWORK in reads else theirs).artwork,
        film_colour_id=(mine if Choice.FILM_COLOUR in reads else theirs).film_colour_id,
        consents=(mine if Choice.CONSENTS in reads else theirs).consents,
        placement_id=(mine if Choice.PLACEMENT in reads else theirs).placement_id,
    )
    line = (one if Choice.SIZES in reads else other).line
    garment = other.garment
    if Choice.COLOUR in reads:
        garment = one.garment
    elif Choice.BLANK in reads:
        garment = _in_another_colour(one.garment)
    return facts_of(garment, wished, sizes=tuple(line.pieces_by_size))


def _in_another_colour(garment: Garment) -> Garment:
    same = (other for other in _garments() if other.cloth_key == garment.cloth_key)
    return max(same, key=lambda other: other.colour_id != garment.colour_id)


def assert_they_name_all_they_read(rules: Iterable[Rule], one: Facts, other: Facts) -> None:
    """Changing every choice a rule does not read on that chain leaves all it says as it was."""
    for rule in rules:
        changed = changed_but_for(rule.reads_for(one.chain), one, other)
        assert list(rule.evaluate(changed)) == list(rule.evaluate(one)), rule.id
