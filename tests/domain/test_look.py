"""How artwork will look: laws of the dye model, the printer's gamut, cut films and the sums."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.artwork import PaletteColour
from service.domain.blanks import Finish, MeasuredLab
from service.domain.chain import Chain, walk
from service.domain.colour import (
    FloatArray,
    Lab,
    bt2020_from_srgb,
    delta_e_2000,
    delta_e_2000_pair,
    lab_from_bt2020,
    lab_from_srgb_hex,
    srgb_from_hex,
)
from service.domain.dyeing import area_mix, dye_over, fibre_blend
from service.domain.gamut import USUAL_SOLIDS, gamut_of, moved_inside, usual_solids_on
from service.domain.look import (
    LookBand,
    Surface,
    SurfaceKind,
    _between,
    dye_holding_volume,
    image_film,
    look_band,
    predict,
    predict_many,
    surface_of,
)
from service.domain.machines import InkSolids
from service.domain.methods import Method
from service.domain.shop import Catalogue, Policy
from tests.domain.garments_and_lines import cloth, demo_shop

POLICY = Policy()
WHITE = Lab(100.0, 0.0, 0.0)
ONE_CODE = 1.001

channels = st.one_of(st.sampled_from([0, 1, 254, 255]), st.integers(0, 255))
hexes = st.tuples(channels, channels, channels).map(
    lambda codes: "#{:02x}{:02x}{:02x}".format(*codes)
)
shares = st.floats(0, 1)


def _palette(*colours: str, shares: tuple[float, ...] = ()) -> tuple[PaletteColour, ...]:
    parts = shares or tuple(1 / len(colours) for _ in colours)
    return tuple(
        PaletteColour(srgb=srgb, share=share) for srgb, share in zip(colours, parts, strict=True)
    )


def _dyed(surface: str, dye_share: float = 1.0, veil: float = 0.0) -> Surface:
    lab = lab_from_srgb_hex(surface)
    return Surface(SurfaceKind.DYED, lab, lab, dye_share, veil)


def _apart(one: str, other: str) -> float:
    """The largest difference of a channel, in codes of 0 to 255."""
    return float(np.abs(np.subtract(srgb_from_hex(one), srgb_from_hex(other))).max())


def _light(srgb: str) -> FloatArray:
    return bt2020_from_srgb(np.array([srgb_from_hex(srgb)], dtype=np.uint8))


def _band_of(dye: str, surface: str, share: float) -> FloatArray:
    """Middle, lightest and darkest (3, 1, 3) in linear BT.2020."""
    beneath, part = _light(surface), np.array(share)
    dyed = dye_over(_light(dye), beneath, POLICY.dye_surface_floor)
    blend = fibre_blend(dyed, beneath, part, POLICY.blend_constant)
    return _between(np.asarray(area_mix(dyed, beneath, part)), blend)


@given(hexes, hexes, shares)
def test_dye_never_lightens_a_channel(dye: str, surface: str, share: float) -> None:
    """In linear BT.2020 neither the band's ends nor its middle exceed the surface (physics)."""
    assert (_band_of(dye, surface, share) <= _light(surface) + 1e-12).all()


@given(hexes, hexes, shares)
def test_the_middle_lies_within_the_band(dye: str, surface: str, share: float) -> None:
    """Light end, middle and dark end fall in that order in every channel."""
    middle, lightest, darkest = _band_of(dye, surface, share)
    assert (darkest <= middle + 1e-12).all()
    assert (middle <= lightest + 1e-12).all()


@given(hexes, hexes, shares, shares)
def test_more_dye_holding_fibre_is_darker(dye: str, surface: str, one: float, other: float) -> None:
    """Every channel and the lightness fall, or stay, as the share that holds dye rises."""
    less, more = (_band_of(dye, surface, share) for share in sorted((one, other)))
    assert (more <= less + 1e-9).all()
    assert (lab_from_bt2020(more)[..., 0] <= lab_from_bt2020(less)[..., 0] + 1e-6).all()


@given(hexes, hexes, st.floats(0, 0.5))
def test_no_dye_holding_fibre_leaves_the_cloth(dye: str, surface: str, veil: float) -> None:
    """At share 0 the prediction and both ends of its band are the cloth, to one code."""
    look = predict(_palette(dye), _dyed(surface, 0.0, veil), POLICY)
    (seen,) = look.colours
    for given_ in (seen.predicted, seen.lightest, seen.darkest):
        assert _apart(given_, surface) <= ONE_CODE
    assert look.doubt_delta_e < 0.01
    assert look.contrast_lightness < 0.01


@given(hexes)
def test_white_polyester_returns_the_artwork(dye: str) -> None:
    """At share 1 on white the prediction is the artwork, to one code, and without a band."""
    look = predict(_palette(dye), _dyed("#ffffff"), POLICY)
    (seen,) = look.colours
    assert _apart(seen.predicted, dye) <= ONE_CODE
    assert seen.predicted == seen.lightest == seen.darkest
    assert look.mean_delta_e < 0.1
    assert look.doubt_delta_e == 0
    assert look.band is LookBand.FAITHFUL


@given(hexes, shares, st.floats(0, 0.5))
def test_white_artwork_leaves_the_cloth(surface: str, share: float, veil: float) -> None:
    """White in the artwork is the cloth, whatever holds dye, to one code."""
    (seen,) = predict(_palette("#ffffff"), _dyed(surface, share, veil), POLICY).colours
    for given_ in (seen.predicted, seen.lightest, seen.darkest):
        assert _apart(given_, surface) <= ONE_CODE


@given(hexes, hexes)
def test_dye_and_cloth_may_change_places(one: str, other: str) -> None:
    """Filters may be stacked either way round, to one code (physics)."""
    dye_one, dye_other = (
        predict(_palette(dye), _dyed(surface), POLICY).colours[0].predicted
        for dye, surface in ((one, other), (other, one))
    )
    assert _apart(dye_one, dye_other) <= ONE_CODE


@given(hexes)
def test_black_dye_and_black_cloth_stay_black(colour: str) -> None:
    """Nothing shows on black cloth, and black dye is black on any (physics)."""
    for dye, surface in ((colour, "#000000"), ("#000000", colour)):
        (seen,) = predict(_palette(dye), _dyed(surface), POLICY).colours
        assert _apart(seen.predicted, "#000000") <= ONE_CODE


@pytest.mark.parametrize("veil", [0.1, 0.3, 0.5])
def test_a_veil_adds_undyed_light(veil: float) -> None:
    """Black dye under a veil shows that share of the white film's light."""
    (seen,) = predict(_palette("#000000"), _dyed("#ffffff", veil=veil), POLICY).colours
    expected = lab_from_bt2020(np.full(3, veil))[0]
    assert lab_from_srgb_hex(seen.predicted).lightness == pytest.approx(expected, abs=0.3)


def test_half_and_half_lies_between_two_published_bounds() -> None:
    """Black dye of R 0.05 on cloth of R 0.80, half of it polyester by volume.

    Source: the blend function of Am. Dyestuff Rep. 33, 177 (1944) and the area mix, computed
    independently without a floor: L* 40.75 and 70.87; the middle is their mean.
    """
    bare = Policy(dye_surface_floor=0)
    grey = lab_from_bt2020(np.full(3, 0.80))
    black = "#404040"  # R 0.0513
    surface = Surface(SurfaceKind.DYED, Lab(*grey.tolist()), WHITE, 0.5)
    (seen,) = predict(_palette(black), surface, bare).colours
    dark, middle, light = (
        lab_from_srgb_hex(each).lightness for each in (seen.darkest, seen.predicted, seen.lightest)
    )
    assert dark == pytest.approx(40.75, abs=0.7)
    assert light == pytest.approx(70.87, abs=0.7)
    assert middle == pytest.approx((dark + light) / 2, abs=0.3)


def test_a_colour_out_of_gamut_keeps_its_hue() -> None:
    """On neutral film it moves to the gamut's edge at its own hue."""
    gamut = gamut_of(USUAL_SOLIDS)
    wanted = np.array([[50.0, 90.0, 60.0], [60.0, -80.0, -40.0], [40.0, 10.0, 120.0]])
    moved = moved_inside(wanted, gamut)
    hues = [np.arctan2(labs[:, 2], labs[:, 1]) for labs in (wanted, moved)]
    assert hues[0] == pytest.approx(hues[1])
    on_edge = (moved @ gamut.normals.T - gamut.offsets).max(axis=1)
    assert on_edge == pytest.approx(np.zeros(3), abs=1e-6)


@pytest.mark.parametrize("srgb", ["#ffff00", "#00ff00", "#ff0000", "#00ffff", "#ff00ff"])
def test_a_brilliant_colour_is_printed_as_the_nearest_of_its_hue(srgb: str) -> None:
    """It stays a colour, and none of its hue and lightness in between is nearer to it."""
    gamut = gamut_of(USUAL_SOLIDS)
    wanted = np.array([lab_from_srgb_hex(srgb)])
    moved = moved_inside(wanted, gamut)
    chroma_kept = np.hypot(*moved[0, 1:]) / np.hypot(*wanted[0, 1:])
    same_lightness = wanted * [1, 0, 0]
    towards = wanted + np.linspace(0, 1, 500)[:, None] * (same_lightness - wanted)
    inside = towards[(towards @ gamut.normals.T <= gamut.offsets).all(axis=1)]
    assert chroma_kept > 0.3
    assert delta_e_2000(moved, wanted)[0] <= delta_e_2000(inside, wanted).min(initial=100) + 0.1


@given(st.tuples(st.floats(0, 100), st.floats(-120, 120), st.floats(-120, 120)))
def test_what_is_moved_inside_stays(lab: tuple[float, float, float]) -> None:
    """Whatever is asked lands inside the hull, and moving it once more changes nothing."""
    gamut = gamut_of(USUAL_SOLIDS)
    once = moved_inside(np.array([lab]), gamut)
    assert (once @ gamut.normals.T <= gamut.offsets + 1e-6).all()
    assert moved_inside(once, gamut) == pytest.approx(once, abs=1e-6)


def test_the_gamut_holds_its_corners_and_no_more() -> None:
    """The eight solids are printed as they are; twice as colourful is not."""
    corners = np.array([[s.lightness, s.a, s.b] for _, s in USUAL_SOLIDS])
    gamut = gamut_of(USUAL_SOLIDS)
    assert moved_inside(corners, gamut) == pytest.approx(corners, abs=1e-6)
    assert not np.allclose(moved_inside(corners * [1, 2, 2], gamut), corners * [1, 2, 2])


def test_solids_that_enclose_nothing_print_greys() -> None:
    """A printer whose solids were all measured as greys prints greys and nothing else."""
    greys = {
        name: MeasuredLab(lightness=5.0 + 10 * index, a=0, b=0)
        for index, name in enumerate(InkSolids.model_fields)
    }
    black, white = greys["white"], greys["black"]
    solids = InkSolids(**{**greys, "black": black, "white": white})
    (moved,) = moved_inside(np.array([[45.0, 40.0, 40.0]]), gamut_of(solids))
    assert moved == pytest.approx(np.array([45.0, 0.0, 0.0]), abs=5)
    assert moved[1:] == pytest.approx(np.zeros(2))


def _printed(film: str = "#f5f5f2") -> Surface:
    lab = lab_from_srgb_hex(film)
    return Surface(SurfaceKind.PRINTED, lab, WHITE, solids=usual_solids_on(lab))


def test_white_artwork_on_printed_film_is_the_film() -> None:
    """Where nothing is printed the film's own white shows; black is the printer's black."""
    white, black = predict(_palette("#ffffff", "#000000"), _printed(), POLICY).colours
    assert _apart(white.predicted, "#f5f5f2") <= ONE_CODE
    assert lab_from_srgb_hex(black.predicted).lightness == pytest.approx(15, abs=1.5)


def test_a_printable_colour_is_printed_as_it_is() -> None:
    """A muted colour within the gamut is met on perfectly white film, and carries no doubt."""
    look = predict(_palette("#8a6a5a"), _printed("#ffffff"), POLICY)
    assert look.colours[0].predicted == "#8a6a5a"
    assert look.mean_delta_e == pytest.approx(0, abs=1e-6)
    assert look.doubt_delta_e == 0


def test_print_is_relative_to_the_films_white() -> None:
    """On film that is a little grey every colour is as much darker, as white is (ICC: relative)."""
    greys = [
        predict(_palette("#8a6a5a"), _printed(film), POLICY) for film in ("#f5f5f2", "#e0e0e0")
    ]
    assert 0 < greys[0].mean_delta_e < 2 < greys[1].mean_delta_e


def test_the_bluest_blue_cannot_be_printed() -> None:
    """Pigment ink has no such blue as sRGB (0, 0, 255); common practice, no source."""
    look = predict(_palette("#0000ff"), _printed(), POLICY)
    assert look.band in {LookBand.SHIFTED, LookBand.LOST}


def test_one_cut_film_shows_its_colour_for_every_colour() -> None:
    """What is cut from one film has one colour."""
    red = lab_from_srgb_hex("#b3262e")
    surface = Surface(SurfaceKind.CUT, red, WHITE, films=(red,))
    look = predict(_palette("#c01020", "#2040c0"), surface, POLICY)
    assert {seen.predicted for seen in look.colours} == {"#b3262e"}
    assert look.colours[1].delta_e == pytest.approx(
        delta_e_2000_pair(lab_from_srgb_hex("#2040c0"), red)
    )
    assert look.worst == 1


def test_of_several_cut_films_each_colour_takes_the_nearest() -> None:
    """With a red and a blue film, reds are cut from one and blues from the other."""
    films = tuple(lab_from_srgb_hex(srgb) for srgb in ("#b3262e", "#1f4fa0"))
    surface = Surface(SurfaceKind.CUT, films[-1], WHITE, films=films)
    look = predict(_palette("#2040c0", "#c01020"), surface, POLICY)
    assert [seen.predicted for seen in look.colours] == ["#1f4fa0", "#b3262e"]


def test_shares_weigh_the_mean_and_the_95th_percentile() -> None:
    """On black film: white, 3 % of the area, counts as 3 % and lies beyond the 95th percentile."""
    black = lab_from_srgb_hex("#000000")
    surface = Surface(SurfaceKind.CUT, black, WHITE, films=(black,))
    palette = _palette("#ffffff", "#777777", "#000000", shares=(0.03, 0.07, 0.90))
    look = predict(palette, surface, POLICY)
    white, grey, none = (seen.delta_e for seen in look.colours)
    assert white == pytest.approx(100)
    assert none == pytest.approx(0, abs=1e-6)
    assert look.mean_delta_e == pytest.approx(0.03 * white + 0.07 * grey)
    assert look.p95_delta_e == pytest.approx(grey)
    assert look.worst == 0


@pytest.mark.parametrize(("share", "percentile_is_white"), [(0.05, False), (0.051, True)])
def test_the_edge_of_the_95th_percentile(share: float, percentile_is_white: bool) -> None:  # noqa: FBT001
    """A colour of 5 % lies beyond the 95th percentile, one of a little more does not."""
    black = lab_from_srgb_hex("#000000")
    surface = Surface(SurfaceKind.CUT, black, WHITE, films=(black,))
    palette = _palette("#ffffff", "#000000", shares=(share, 1 - share))
    given_ = predict(palette, surface, POLICY).p95_delta_e
    assert (given_ > 50) is percentile_is_white


def test_shares_need_not_sum_to_one() -> None:
    """Shares count relative to their sum, and all alike where every one of them is nought."""
    surface = _printed()
    whole = predict(_palette("#0000ff", "#ffffff", shares=(0.5, 0.5)), surface, POLICY)
    for shares_ in ((0.2, 0.2), (0.0, 0.0)):
        part = predict(_palette("#0000ff", "#ffffff", shares=shares_), surface, POLICY)
        assert part.mean_delta_e == pytest.approx(whole.mean_delta_e)


def test_contrast_is_the_mean_difference_in_lightness() -> None:
    """Half black, half mid grey on white: contrast is the mean of 100 and 100 - L*."""
    look = predict(_palette("#000000", "#777777"), _dyed("#ffffff"), POLICY)
    expected = (100 + 100 - lab_from_srgb_hex("#777777").lightness) / 2
    assert look.contrast_lightness == pytest.approx(expected, abs=0.05)


@pytest.mark.parametrize(
    ("mean", "band"),
    [
        (0.0, LookBand.FAITHFUL),
        (5.0, LookBand.FAITHFUL),
        (5.001, LookBand.NEAR),
        (10.0, LookBand.NEAR),
        (10.001, LookBand.SHIFTED),
        (20.0, LookBand.SHIFTED),
        (20.001, LookBand.LOST),
    ],
)
def test_edges_of_the_bands(mean: float, band: LookBand) -> None:
    """5, 10 and 20 belong to the nearer band; design choices, no source."""
    assert look_band(mean, POLICY) is band


@st.composite
def _surfaces(draw: st.DrawFn) -> Surface:
    lab = lab_from_srgb_hex(draw(hexes))
    kind = draw(st.sampled_from(SurfaceKind))
    if kind is SurfaceKind.DYED:
        return Surface(kind, lab, WHITE, draw(st.sampled_from([1.0, 0.6, 0.0])), 0.1)
    if kind is SurfaceKind.PRINTED:
        return Surface(kind, lab, WHITE, solids=draw(st.sampled_from([None, USUAL_SOLIDS])))
    films = draw(st.lists(hexes, max_size=3))
    return Surface(kind, lab, WHITE, films=tuple(map(lab_from_srgb_hex, films)))


@given(st.lists(hexes, min_size=1, max_size=5), st.lists(_surfaces(), max_size=6))
def test_many_surfaces_at_once_are_each_as_alone(
    colours: list[str], surfaces: list[Surface]
) -> None:
    """One call over mixed surfaces gives, in order, what each gives by itself."""
    palette = _palette(*colours)
    together = predict_many(palette, surfaces, POLICY)
    assert len(together) == len(surfaces)
    for surface, many in zip(surfaces, together, strict=True):
        alone = predict(palette, surface, POLICY)
        assert many.kind is alone.kind
        for name in ("mean_delta_e", "p95_delta_e", "contrast_lightness", "doubt_delta_e"):
            assert getattr(many, name) == pytest.approx(getattr(alone, name), abs=1e-6)
        for one, other in zip(many.colours, alone.colours, strict=True):
            assert _apart(one.predicted, other.predicted) <= ONE_CODE


def test_sixteen_colours_on_forty_cloths_by_six_methods() -> None:
    """The largest question asked is one call."""
    palette = _palette(*(f"#{code:02x}{255 - code:02x}80" for code in range(0, 256, 16)))
    surfaces = [
        replace(_dyed(f"#ff{shade:02x}{shade:02x}"), dye_share=share)
        for shade in range(40, 240, 5)
        for share in (0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
    ]
    looks = predict_many(palette, surfaces, POLICY)
    assert len(looks) == 240
    assert all(len(look.colours) == 16 for look in looks)


def test_an_empty_palette_is_an_error_and_no_surface_is_none() -> None:
    """A palette has at least one colour; without surfaces there is nothing to see."""
    with pytest.raises(ValueError, match="at least one colour"):
        predict_many((), (_printed(),), POLICY)
    assert predict_many(_palette("#ffffff"), (), POLICY) == ()


KINDS = {
    "dye-transfer": SurfaceKind.DYED,
    "printed-film": SurfaceKind.PRINTED,
    "cut-film": SurfaceKind.CUT,
    "dye-on-glitter-film": SurfaceKind.DYED,
    "dye-on-flock-film": SurfaceKind.DYED,
    "dye-on-white-film": SurfaceKind.DYED,
}


def _labs(chain: Chain) -> dict[str, Lab]:
    return {layer.id: lab_from_srgb_hex(layer.colours[0].srgb) for layer in chain.layers}


def _surface(chain: Chain, srgb: str = "#203060", **percents: int) -> Surface:
    return surface_of(chain, cloth(srgb, Finish.PLAIN, **percents), _labs(chain))


@pytest.mark.parametrize(("method_id", "kind"), KINDS.items())
def test_what_each_method_puts_its_image_on(method_id: str, kind: SurfaceKind) -> None:
    """What a chain does decides the kind; the surface is its film, or the cloth."""
    chain = demo_shop().chains[method_id]
    surface = _surface(chain)
    film = image_film(chain)
    assert surface.kind is kind
    assert surface.cloth == lab_from_srgb_hex("#203060")
    assert surface.lab == (surface.cloth if film is None else _labs(chain)[film.id])
    assert (film is None) is (method_id == "dye-transfer")


def test_cloth_counts_by_volume_and_film_by_its_face() -> None:
    """Half polyester by mass is 0.526 by volume (densities 1.38 and 1.53); a film says its own."""
    direct = _surface(demo_shop().chains["dye-transfer"], polyester=50, cotton=50)
    assert direct.dye_share == pytest.approx(0.526, abs=0.001)
    assert direct.veil == 0
    flock = demo_shop().catalogue.medium_by_id["flock-film"]
    on_flock = _surface(demo_shop().chains["dye-on-flock-film"], cotton=100)
    assert (on_flock.dye_share, on_flock.veil) == (flock.dye_share, flock.veil)
    assert dye_holding_volume(cloth(polyester=100).face) == 1
    assert dye_holding_volume(cloth(cotton=100).face) == 0


def _method(*steps: dict[str, Any]) -> Method:
    common = {"station": "pressing", "setup_min": 1, "each_min": 1}
    operations = [{**common, **step} for step in steps]
    return Method.model_validate(
        {"id": "own", "name": "Own", "feel": "own", "operations": operations}
    )


def _press(medium: str) -> dict[str, Any]:
    return {"kind": "press", "machine": "press", "medium": medium}


def _print(medium: str, machine: str, *, mirrored: bool) -> dict[str, Any]:
    return {"kind": "print", "machine": machine, "medium": medium, "mirrored": mirrored}


_PRINTED_FILM = (
    _print("printable-film", "pigment-printer", mirrored=False),
    _press("printable-film"),
)


def test_dye_sent_into_a_printed_film_makes_the_image() -> None:
    """After dye the surface is dyed, whatever was printed before."""
    chain = walk(
        demo_shop().catalogue,
        _method(*_PRINTED_FILM, _print("dye-paper", "dye-printer", mirrored=True),
                _press("dye-paper")),
    )  # fmt: skip
    surface = _surface(chain)
    assert surface.kind is SurfaceKind.DYED
    assert surface.dye_share == 0


def test_print_counts_above_cut_film() -> None:
    """A printed film on a cut one is printed; the cut films alone are cut, lowest first."""
    catalogue = demo_shop().catalogue
    printed = walk(catalogue, _method(_press("cut-film"), *_PRINTED_FILM))
    assert _surface(printed).kind is SurfaceKind.PRINTED
    cut = walk(catalogue, _method(_press("cut-film"), _press("low-heat-cut-film")))
    labs = _labs(cut)
    assert _surface(cut).films == (labs["cut-film"], labs["low-heat-cut-film"])


def _with_medium(medium_id: str, **changes: object) -> Catalogue:
    catalogue = demo_shop().catalogue
    media = tuple(
        medium.model_copy(update=changes) if medium.id == medium_id else medium
        for medium in catalogue.media
    )
    return catalogue.model_copy(update={"media": media})


def test_the_cloth_is_seen_through_clear_film() -> None:
    """Print on clear film has the cloth for its white, and dye in one the cloth's light."""
    clear = _with_medium("printable-film", opaque=False)
    clear.__dict__.pop("medium_by_id", None)
    chain = walk(clear, _method(*_PRINTED_FILM))
    assert image_film(chain) is None
    surface = surface_of(chain, cloth("#ffe150"), _labs(chain))
    (white,) = predict(_palette("#ffffff"), surface, POLICY).colours
    assert _apart(white.predicted, "#ffe150") <= ONE_CODE


def test_measured_solids_win_over_the_usual_ones() -> None:
    """A printer measured without blue prints none; the usual one does."""
    dull = USUAL_SOLIDS.model_copy(update={"blue": MeasuredLab(lightness=25, a=2, b=-8)})
    catalogue = demo_shop().catalogue
    printers = tuple(
        printer.model_copy(update={"solids": dull}) if printer.id == "pigment-printer" else printer
        for printer in catalogue.printers
    )
    measured = catalogue.model_copy(update={"printers": printers})
    measured.__dict__.pop("machine_by_id", None)
    chain = walk(measured, _method(*_PRINTED_FILM))
    assert _surface(chain).solids == dull
    usual = _surface(demo_shop().chains["printed-film"])
    offs = [predict(_palette("#2040c0"), each, POLICY) for each in (_surface(chain), usual)]
    assert offs[0].mean_delta_e > offs[1].mean_delta_e
