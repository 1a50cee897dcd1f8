"""Rules on colour, its doubt, contrast, white in the artwork and strong cloth: their edges."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.blanks import Finish
from service.domain.facts import facts_for
from service.domain.garments import Garment
from service.domain.look import ColourLook, Look, LookBand, SurfaceKind, look_band
from service.domain.rules import Facts, Reading, Rule, Severity
from service.domain.rules.dyed_surface import DYE_SURFACE_SATURATION, DYE_WHITE_ARTWORK
from service.domain.rules.look import ACHIEVED_COLOUR, COLOUR_DOUBT, PRINT_CONTRAST
from service.domain.shop import Policy
from service.domain.wishes import Choice, Consent, Decoration, Line
from tests.domain.garments_and_lines import artwork, cloth, decoration, demo_shop, plated

RULES = (
    ACHIEVED_COLOUR,
    COLOUR_DOUBT,
    PRINT_CONTRAST,
    DYE_WHITE_ARTWORK,
    DYE_SURFACE_SATURATION,
)
WHITE, BLACK, YELLOW, GREY = "#ffffff", "#141414", "#ffe150", "#a0a0a5"
SHIFT = frozenset({Consent.COLOUR_SHIFT})


def _facts(garment: Garment, wished: Decoration) -> Facts:
    return facts_for(
        demo_shop(), Line(garment, {"M": 1}, (wished,)), wished, wished.method_id or ""
    )


def _read(rule: Rule, garment: Garment, wished: Decoration) -> Reading:
    (reading,) = rule.evaluate(_facts(garment, wished))
    return reading


def _look(kind: SurfaceKind, mean: float, *, contrast: float = 50.0, doubt: float = 0.0) -> Look:
    seen = ColourLook("#c01020", "#b02030", "#b02030", "#b02030", 1.0, mean, doubt)
    return Look(kind, (seen,), mean, mean, 0, contrast, doubt, look_band(mean, Policy()))


def _seen_as(
    rule: Rule, method_id: str, look: Look, consents: frozenset[Consent] = frozenset()
) -> Reading:
    """What the rule says on white polyester if the look were this."""
    facts = _facts(cloth(WHITE, polyester=100), decoration(method_id, consents=consents))
    (reading,) = rule.evaluate(replace(facts, see=lambda _: look))
    return reading


@pytest.mark.parametrize("kind", SurfaceKind)
@pytest.mark.parametrize(
    ("mean", "consents", "severity", "limit"),
    [
        (5.0, (), Severity.PASSES, 5.0),
        (5.01, (), Severity.WARNS, 5.0),
        (10.0, (), Severity.WARNS, 5.0),
        (10.01, (), Severity.BLOCKS, 10.0),
        (10.01, SHIFT, Severity.WARNS, 10.0),
        (20.0, SHIFT, Severity.WARNS, 10.0),
        (20.01, (), Severity.BLOCKS, 20.0),
        (20.01, SHIFT, Severity.BLOCKS, 20.0),
    ],
)
def test_the_edges_of_achieved_colour(
    kind: SurfaceKind,
    mean: float,
    consents: Sequence[Consent],
    severity: Severity,
    limit: float,
) -> None:
    """Up to 5 passes, up to 10 warns, up to 20 asks for consent, above is refused; CIEDE2000.

    Common practice, no source: accept, warn, ask, refuse at these differences.
    """
    methods = {
        SurfaceKind.DYED: "dye-transfer",
        SurfaceKind.PRINTED: "printed-film",
        SurfaceKind.CUT: "cut-film",
    }
    look = _look(kind, mean)
    reading = _seen_as(ACHIEVED_COLOUR, methods[kind], look, frozenset(consents))
    assert (reading.severity, reading.limit) == (severity, limit)
    assert reading.measured == mean


def test_colours_on_white_polyester_are_the_artworks() -> None:
    """Common practice, no source: dye on white polyester is full colour."""
    art = artwork("#c01020", "#2040c0", "#f0d020", "#101010")
    reading = _read(
        ACHIEVED_COLOUR, cloth(WHITE, polyester=100), decoration("dye-transfer", art=art)
    )
    assert reading.severity is Severity.PASSES
    assert float(reading.measured) < 0.1


@pytest.mark.parametrize(
    ("srgb", "dye", "consents", "severity"),
    [
        (YELLOW, "#2040c0", frozenset(), Severity.BLOCKS),
        (YELLOW, "#2040c0", SHIFT, Severity.WARNS),
        ("#ffff00", "#0000ff", SHIFT, Severity.BLOCKS),
    ],
)
def test_blue_dye_on_yellow_cloth_is_no_blue(
    srgb: str, dye: str, consents: frozenset[Consent], severity: Severity
) -> None:
    """Blue over yellow turns dark (physics), though the cloth is light; pure blue is lost."""
    wished = decoration("dye-transfer", art=artwork(dye), consents=consents)
    reading = _read(ACHIEVED_COLOUR, cloth(srgb, polyester=100), wished)
    assert reading.severity is severity
    assert dye in reading.reason


@pytest.mark.parametrize("percent", [0, 40, 50, 64, 65, 80, 94])
@pytest.mark.parametrize("consents", [frozenset(), frozenset({Consent.FADED_LOOK})])
def test_a_faded_look_is_not_refused_a_second_time(
    percent: int, consents: frozenset[Consent]
) -> None:
    """On white blends colours only fade, which the rule on fibre share judges: this one warns."""
    fibres = {"polyester": percent, "cotton": 100 - percent}
    blend = cloth(WHITE, Finish.PLAIN, **{name: share for name, share in fibres.items() if share})
    for art in (artwork("#c01020"), artwork("#101010"), artwork("#2040c0", "#f0d020")):
        reading = _read(
            ACHIEVED_COLOUR, blend, decoration("dye-transfer", art=art, consents=consents)
        )
        assert reading.severity in {Severity.PASSES, Severity.WARNS}


def test_a_blend_does_not_excuse_a_coloured_cloth() -> None:
    """On a yellow blend blue is lost by the cloth's colour, whatever fades besides."""
    wished = decoration(
        "dye-transfer", art=artwork("#2040c0"), consents=frozenset({Consent.FADED_LOOK})
    )
    blend = cloth(YELLOW, polyester=60, cotton=40)
    assert _read(ACHIEVED_COLOUR, blend, wished).severity is Severity.BLOCKS


def test_the_face_decides_on_plated_knits() -> None:
    """Polyester outside, cotton inside: full colour, no warning."""
    knit = plated(WHITE, {"polyester": 100}, polyester=60, cotton=40)
    assert _read(ACHIEVED_COLOUR, knit, decoration("dye-transfer")).severity is Severity.PASSES


def test_dark_cloth_is_left_to_the_rule_on_lightness() -> None:
    """Dye on black shows nothing; that is said here and refused there."""
    reading = _read(ACHIEVED_COLOUR, cloth(BLACK, polyester=100), decoration("dye-transfer"))
    assert reading.severity is Severity.WARNS
    assert "too dark" in reading.reason


def test_black_artwork_on_grey_cloth_is_reached() -> None:
    """Common practice, no source: dark art alone works on medium cloth."""
    wished = decoration("dye-transfer", art=artwork("#101010"))
    reading = _read(ACHIEVED_COLOUR, cloth(GREY, polyester=100), wished)
    assert reading.severity in {Severity.PASSES, Severity.WARNS}


@pytest.mark.parametrize(
    "method_id", ["printed-film", "dye-on-glitter-film", "dye-on-flock-film", "dye-on-white-film"]
)
def test_films_keep_colours_on_black_cotton(method_id: str) -> None:
    """Common practice, no source: on dark cotton a film brings the colours, muted or not."""
    art = artwork("#c01020", "#2040c0", "#f0d020")
    reading = _read(ACHIEVED_COLOUR, cloth(BLACK, cotton=100), decoration(method_id, art=art))
    assert reading.severity in {Severity.PASSES, Severity.WARNS}


def test_a_logo_in_a_stocked_colour_passes() -> None:
    """The nearest film is named with its difference."""
    film = demo_shop().catalogue.medium_by_id["cut-film"].colours[2]
    reading = _read(ACHIEVED_COLOUR, cloth(), decoration("cut-film", art=artwork(film.srgb)))
    assert reading.severity is Severity.PASSES
    assert film.name in reading.reason


def test_a_logo_in_an_unstocked_colour_is_refused_with_the_nearest_film() -> None:
    """No violet film in stock: the nearest, and how far off it is, are said."""
    art = artwork("#7030a0")
    reading = _read(ACHIEVED_COLOUR, cloth(), decoration("cut-film", art=art))
    assert reading.severity is Severity.BLOCKS
    facts = _facts(cloth(), decoration("cut-film", art=art))
    assert facts.film_colours["cut-film"].name in reading.reason
    assert f"{facts.look.mean_delta_e:.1f}" in reading.reason


def test_a_film_colour_that_was_chosen_is_not_judged() -> None:
    """Who asks for white film of a red logo gets white film; it is only noted."""
    wished = decoration("cut-film", film_colour_id="white")
    reading = _read(ACHIEVED_COLOUR, cloth(BLACK), wished)
    assert reading.severity is Severity.NOTES
    assert "White" in reading.reason


def test_a_chosen_colour_the_film_does_not_come_in_is_no_choice() -> None:
    """Asking for a colour that is not stocked leaves the nearest to be judged."""
    wished = decoration("cut-film", art=artwork("#7030a0"), film_colour_id="violet")
    assert _read(ACHIEVED_COLOUR, cloth(), wished).severity is Severity.BLOCKS


@pytest.mark.parametrize(
    ("doubt", "severity"),
    [(0.0, Severity.NOTES), (5.0, Severity.NOTES), (5.01, Severity.WARNS), (30.0, Severity.WARNS)],
)
def test_the_edge_of_doubt(doubt: float, severity: Severity) -> None:
    """A band up to 5 is noted, a wider one warns, and neither is promised; design choice."""
    look = _look(SurfaceKind.DYED, 3.0, doubt=doubt)
    reading = _seen_as(COLOUR_DOUBT, "dye-transfer", look)
    assert reading.severity is severity
    assert "not promised" in reading.reason


def test_a_blend_is_in_doubt() -> None:
    """Between area mix and blend function lie 14 to 28 L* on blends (published formulas)."""
    blend = cloth(WHITE, polyester=65, cotton=35)
    reading = _read(COLOUR_DOUBT, blend, decoration("dye-transfer", art=artwork("#101010")))
    assert reading.severity is Severity.WARNS


@pytest.mark.parametrize(
    ("contrast", "severity"),
    [(0.0, Severity.WARNS), (19.99, Severity.WARNS), (20.0, Severity.PASSES)],
)
def test_the_edge_of_contrast(contrast: float, severity: Severity) -> None:
    """From a mean difference of 20 L* a print stands out; design choice, no source."""
    look = _look(SurfaceKind.PRINTED, 3.0, contrast=contrast)
    assert _seen_as(PRINT_CONTRAST, "printed-film", look).severity is severity


def test_navy_on_black_is_said() -> None:
    """Dark print on dark cloth hardly shows, by whatever method."""
    wished = decoration("printed-film", art=artwork("#202040"))
    assert _read(PRINT_CONTRAST, cloth("#101018"), wished).severity is Severity.WARNS


def _with_white(share: float) -> Decoration:
    art = artwork("#c01020").model_copy(update={"near_white_share": share})
    return decoration("dye-transfer", art=art)


@pytest.mark.parametrize(
    ("srgb", "share", "severity"),
    [
        ("#f6f6f4", 0.5, Severity.PASSES),
        ("#ffe150", 0.5, Severity.WARNS),
        ("#ffe150", 0.011, Severity.WARNS),
        ("#ffe150", 0.01, Severity.PASSES),
        ("#a0a0a5", 0.5, Severity.BLOCKS),
        ("#a0a0a5", 0.01, Severity.PASSES),
        ("#141414", 0.5, Severity.BLOCKS),
    ],
)
def test_white_in_the_artwork_under_dye(srgb: str, share: float, severity: Severity) -> None:
    """It stays white on white cloth, shows light cloth, and is refused on darker cloth.

    Common practice, no source. 1 % of white does not matter; white cloth is L* 92 and C* 6.
    """
    given_ = _read(DYE_WHITE_ARTWORK, cloth(srgb, polyester=100), _with_white(share))
    assert given_.severity is severity


def test_white_on_film_shows_the_film() -> None:
    """Common practice, no source: the film's own colour is the white of the print."""
    art = artwork("#c01020").model_copy(update={"near_white_share": 0.4})
    wished = decoration("dye-on-glitter-film", art=art)
    reading = _read(DYE_WHITE_ARTWORK, cloth(BLACK, cotton=100), wished)
    assert reading.severity is Severity.NOTES
    assert "White glitter" in reading.reason


@pytest.mark.parametrize(
    ("srgb", "art", "severity", "word"),
    [
        ("#ffffff", "#c01020", Severity.PASSES, "no strong colour"),
        ("#ffe150", "#101010", Severity.WARNS, "turns towards it"),
        ("#ffe150", "#c01020", Severity.WARNS, "a warning, not a preview"),
    ],
)
def test_strong_cloth_under_dye(srgb: str, art: str, severity: Severity, word: str) -> None:
    """Cloth (255, 225, 80) is light, with a chroma of 71.6 (CIE 15): light but saturated."""
    wished = decoration("dye-transfer", art=artwork(art))
    reading = _read(DYE_SURFACE_SATURATION, cloth(srgb, polyester=100), wished)
    assert reading.severity is severity
    assert word in reading.reason


def test_a_speck_of_strong_colour_does_not_count() -> None:
    """A colour below the counting share does not make the artwork a strong one."""
    art = artwork("#101010", "#c01020")
    few = tuple(
        colour.model_copy(update={"share": share})
        for colour, share in zip(art.palette, (0.985, 0.015), strict=True)
    )
    wished = decoration("dye-transfer", art=art.model_copy(update={"palette": few}))
    reading = _read(DYE_SURFACE_SATURATION, cloth(YELLOW, polyester=100), wished)
    assert "turns towards it" in reading.reason


@pytest.mark.parametrize("rule", [COLOUR_DOUBT, DYE_WHITE_ARTWORK, DYE_SURFACE_SATURATION])
@pytest.mark.parametrize("method_id", ["printed-film", "cut-film"])
def test_rules_on_dye_say_nothing_without_dye(rule: Rule, method_id: str) -> None:
    """Where no dye is sent anywhere, there is nothing to say of it, and only the method is read."""
    facts = _facts(cloth(YELLOW), decoration(method_id))
    assert not list(rule.evaluate(facts))
    assert rule.reads_for(facts.chain) == {Choice.METHOD}


GARMENTS = [
    cloth(WHITE, polyester=100),
    cloth(YELLOW, polyester=100),
    cloth(WHITE, polyester=60, cotton=40),
    cloth(BLACK, cotton=100),
    cloth(GREY, polyester=80, cotton=20),
]
METHODS = sorted(demo_shop().chains)


@st.composite
def _wishes(draw: st.DrawFn) -> tuple[Garment, Decoration]:
    art = artwork(
        *draw(st.sampled_from([("#101010",), ("#c01020", "#f0d020"), ("#7030a0",), (WHITE,)]))
    ).model_copy(update={"near_white_share": draw(st.sampled_from([0.0, 0.3]))})
    wished = decoration(
        draw(st.sampled_from(METHODS)),
        width_mm=draw(st.floats(10, 400)),
        art=art,
        film_colour_id=draw(st.sampled_from([None, "white", "black", "brick"])),
        consents=draw(st.sampled_from([frozenset(), frozenset(Consent)])),
    )
    return draw(st.sampled_from(GARMENTS)), wished


@settings(max_examples=150)
@given(_wishes(), _wishes(), st.sampled_from(RULES))
def test_no_choice_is_read_that_is_not_named_for_the_chain(
    one: tuple[Garment, Decoration], other: tuple[Garment, Decoration], rule: Rule
) -> None:
    """Changing every choice that a rule does not read on this chain leaves its readings alone."""
    (garment, wished), (other_garment, other_wished) = one, other
    facts = _facts(garment, wished)
    reads = rule.reads_for(facts.chain)
    assert reads <= rule.reads
    changed = replace(
        wished,
        width_mm=other_wished.width_mm,
        artwork=wished.artwork if Choice.ARTWORK in reads else other_wished.artwork,
        film_colour_id=wished.film_colour_id
        if Choice.FILM_COLOUR in reads
        else other_wished.film_colour_id,
        consents=wished.consents if Choice.CONSENTS in reads else other_wished.consents,
    )
    cloth_read = reads & {Choice.BLANK, Choice.COLOUR}
    after = _facts(garment if cloth_read else other_garment, changed)
    assert list(rule.evaluate(after)) == list(rule.evaluate(facts))


@settings(max_examples=150)
@given(_wishes(), st.sampled_from(RULES))
def test_reasons_come_from_templates(wish: tuple[Garment, Decoration], rule: Rule) -> None:
    """What a reading says is one of its rule's templates, filled in, and a whole sentence."""
    for reading in rule.evaluate(_facts(*wish)):
        assert any(
            re.fullmatch(re.sub(r"\\\{.+?\\\}", ".+", re.escape(template)), reading.reason)
            for template in rule.reasons.values()
        )
        assert reading.reason.endswith(".")
        assert rule.may_block or reading.severity is not Severity.BLOCKS


def test_policies_named_are_thresholds_of_the_shop() -> None:
    """Each rule names only thresholds that the policy has, and explains itself."""
    for rule in RULES:
        assert set(rule.policy) <= set(Policy.model_fields)
        assert rule.ways_out.endswith(".")
        assert len(rule.explanation) > 80


def test_bands_and_limits_follow_the_policy() -> None:
    """A shop that asks for more gets more: the same look is refused under tighter limits."""
    strict = Policy(colour_faithful_delta_e=1, colour_near_delta_e=2, colour_shifted_delta_e=3)
    assert look_band(3.5, strict) is LookBand.LOST
    assert look_band(3.5, Policy()) is LookBand.FAITHFUL
