"""The proof's picture: true scale, predicted colours, words, and bounds."""

from __future__ import annotations

import io
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from service.domain.artwork_preview import ArtworkPreview
from service.domain.colour import delta_e_2000, lab_from_srgb, lab_from_srgb_hex, srgb_from_hex
from service.domain.proof_geometry import Frame, scale_bar_mm, whole_px
from service.domain.proofs import NO_GUARANTEE, Proof, Standing
from service.render.proof import PNG, WEBP, Sheet, draw_proof, proof_picture
from service.render.proof_garment import laid_garment
from service.render.proof_panel import PAPER
from service.render.proof_words import FAINT_INK, INK, font_of, text_width, wrapped
from service.render.silhouettes import drawing_of
from tests.render.proof_makers import demo_shop, made, plain

RED, GREEN, WHITE = (190, 30, 45), (46, 125, 50), (255, 255, 255)
Pixels = NDArray[np.uint8]


def frame_of(proof: Proof, px: int) -> Frame:
    """The scale and place of the garment in a proof that wide."""
    return Sheet.of(px).frame(drawing_of(proof.garment).extent)


def pixels_of(proof: Proof, art: ArtworkPreview, px: int = 1_000) -> Pixels:
    """The proof in pixels (height, width, 3)."""
    return np.asarray(proof_picture(proof, art, px))


def inside_of(proof: Proof, art: ArtworkPreview, px: int = 1_000) -> Pixels:
    """The pixels of the print, less a rim of three."""
    left, top, width, height = whole_px(frame_of(proof, px), proof.print)
    picture = pixels_of(proof, art, px)
    return picture[top + 3 : top + height - 3, left + 3 : left + width - 3]


def off(pixels: Pixels, srgb: str) -> NDArray[np.float64]:
    """CIEDE2000 of every pixel from a colour."""
    return delta_e_2000(lab_from_srgb(pixels), lab_from_srgb_hex(srgb))


def alike(pixels: Pixels, srgb: str) -> NDArray[np.bool_]:
    """Which pixels differ from a colour by two codes at most."""
    near: NDArray[np.bool_] = np.abs(pixels - np.array(srgb_from_hex(srgb))) <= 2
    return near[..., 0] & near[..., 1] & near[..., 2]


@pytest.mark.parametrize(
    ("blank", "width_mm", "px"),
    [
        ("classic-cotton-tee", 240, 400),
        ("classic-cotton-tee", 240, 1_000),
        ("cotton-tote", 111, 1_000),
        ("cotton-tote", 111, 2_000),
    ],
)
def test_the_print_is_drawn_to_the_scale_of_the_bar(blank: str, width_mm: float, px: int) -> None:
    """Measured in the picture: pixels of the print by pixels of the bar as mm by mm, to a pixel."""
    colour = {"classic-cotton-tee": "white", "cotton-tote": "natural"}[blank]
    proof, art = made(plain(RED), blank=blank, colour=colour, width_mm=width_mm, px=px)
    picture, sheet = pixels_of(proof, art, px), Sheet.of(px)
    stage = picture[: sheet.stage_height_px, : sheet.stage_width_px]
    is_print = alike(stage, proof.colours[0].predicted)
    across = np.flatnonzero(is_print.sum(axis=0) > 5)
    down = np.flatnonzero(is_print.sum(axis=1) > 5)
    foot = stage[-round(sheet.letters_px * 2) :, : sheet.stage_width_px // 2]
    runs = [_longest_run((row == INK).all(axis=-1)) for row in foot]
    bar_px = max(runs)
    length_mm = scale_bar_mm(frame_of(proof, px).px_per_mm, sheet.stage_width_px * 0.3)
    px_per_mm = bar_px / length_mm
    tolerance = 1 + width_mm / length_mm  # a pixel of the print, and one of the bar
    assert abs((across[-1] - across[0] + 1) - width_mm * px_per_mm) <= tolerance
    assert abs((down[-1] - down[0] + 1) - width_mm * 160 / 240 * px_per_mm) <= tolerance


def _longest_run(flags: NDArray[np.bool_]) -> int:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    return int((edges[1::2] - edges[::2]).max(initial=0))


@pytest.mark.parametrize(
    "asked",
    [
        {"blank": "sport-polyester-tee", "colour": "royal", "method": "dye-transfer"},
        {"blank": "sport-polyester-tee", "colour": "yellow", "method": "dye-transfer"},
        {"blank": "half-blend-tee", "colour": "ash", "method": "dye-transfer"},
        {"colour": "black", "method": "printed-film"},
        {"colour": "black", "method": "cut-film"},
        {"colour": "navy", "method": "cut-film", "film_colour": "marigold"},
        {"colour": "black", "method": "dye-on-white-film"},
    ],
)
def test_the_prints_pixels_have_the_predicted_colour(asked: dict[str, Any]) -> None:
    """Within CIEDE2000 1 of what the rules predict for the palette's colour."""
    proof, art = made(plain(GREEN), **asked)
    assert float(off(inside_of(proof, art), proof.colours[0].predicted).max()) < 1


@pytest.mark.parametrize("method", ["dye-on-glitter-film", "dye-on-flock-film"])
def test_sparkle_and_nap_lie_around_the_predicted_colour(method: str) -> None:
    """They move single pixels, and their mean stays within CIEDE2000 3 of the prediction."""
    proof, art = made(plain(GREEN), colour="black", method=method)
    inside = inside_of(proof, art)
    assert len(np.unique(inside.reshape(-1, 3), axis=0)) > 20
    light = (inside / 255.0) ** 2.2  # near enough to the light of sRGB for a mean
    mean = np.rint((light.mean(axis=(0, 1)) ** (1 / 2.2)) * 255).astype(np.uint8)
    assert float(off(mean, proof.colours[0].predicted)) < 3


def test_white_dye_leaves_the_cloth() -> None:
    """A white picture in dye cannot be told from the cloth around it."""
    asked = {"blank": "sport-polyester-tee", "colour": "royal", "method": "dye-transfer"}
    proof, art = made(plain(WHITE), **asked)
    assert float(off(inside_of(proof, art), proof.cloth_srgb).max()) < 1


def test_a_hole_shows_the_cloth_through_film() -> None:
    """Where the artwork is clear the film is cut away; around it runs a thin line."""
    picture = plain(RED)
    picture[40:120, 60:180, 3] = 0
    proof, art = made(picture, colour="yellow")
    inside = inside_of(proof, art)
    height, width, _ = inside.shape
    hole = inside[height * 3 // 8 : height * 5 // 8, width * 3 // 8 : width * 5 // 8]
    assert (hole == srgb_from_hex(proof.cloth_srgb)).all()


def test_what_runs_over_is_marked_and_ends_with_the_cloth() -> None:
    """A print wider than the garment is drawn on the cloth alone, and its placement outlined."""
    proof, art = made(plain(RED), width_mm=1_500)
    assert proof.standing is Standing.REFUSED
    picture = pixels_of(proof, art)
    stage = picture[: Sheet.of(1_000).stage_height_px, : Sheet.of(1_000).stage_width_px]
    _, cloth = laid_garment(
        proof.garment, frame_of(proof, 1_000), *reversed(stage.shape[:2]), proof.cloth_srgb
    )
    is_print = alike(stage, proof.colours[0].predicted)
    assert not is_print[cloth == 0].any()
    assert is_print[cloth == 255].mean() > 0.3
    assert (stage == (200, 30, 40)).all(axis=-1).sum() > 100


@pytest.mark.parametrize("shape", [(1, 20_000), (20_000, 1), (1, 1)])
@pytest.mark.parametrize("width_mm", [0.1, 100, 2_000])
def test_extreme_shapes_are_bounded(shape: tuple[int, int], width_mm: float) -> None:
    """However long or wide it would be, the picture has its usual size."""
    proof, art = made(plain(RED, *shape), width_mm=width_mm)
    picture = proof_picture(proof, art, 400)
    assert picture.width == 400
    assert picture.height < 1_200


def test_every_style_is_drawn_at_every_placement() -> None:
    """The demonstration blanks, one of each style, by the method that suits them best."""
    picture = plain(RED, 60, 60)
    blanks = {blank.style: blank for blank in demo_shop().catalogue.blanks}
    for blank in blanks.values():
        for placement in blank.placements:
            proof, art = made(
                picture, blank=blank.id, colour=blank.colours[-1].id, placement=placement.id,
                width_mm=40, method="any",
            )  # fmt: skip
            assert proof_picture(proof, art, 200).width == 200


def test_the_same_request_gives_the_same_bytes() -> None:
    """Also when nothing is remembered of the garment."""
    proof, art = made(plain(GREEN), colour="black", method="dye-on-glitter-film")
    first = draw_proof(proof, art, 400)
    laid_garment.cache_clear()
    assert draw_proof(proof, art, 400) == first


def test_both_formats_hold_the_same_pixels() -> None:
    """WebP is lossless, so that no colour moves."""
    proof, art = made(plain(GREEN))
    pictures = [
        Image.open(io.BytesIO(draw_proof(proof, art, 640, media_type)))
        for media_type in (PNG, WEBP)
    ]
    assert [picture.format for picture in pictures] == ["PNG", "WEBP"]
    png, webp = (np.asarray(picture.convert("RGB")) for picture in pictures)
    assert np.array_equal(png, webp)


def found(picture: Pixels, text: str, size_px: int, colour: tuple[int, int, int]) -> float:
    """How well a line of text, drawn by itself, is found somewhere in a picture; 1 is exactly."""
    font = font_of(size_px)
    left, top, right, bottom = font.getbbox(text)
    line = Image.new("RGB", (round(right - left), round(bottom - top)), PAPER)
    ImageDraw.Draw(line).text((-left, -top), text, fill=colour, font=font)
    matches = cv2.matchTemplate(picture, np.asarray(line), cv2.TM_CCOEFF_NORMED)
    return float(np.max(matches))


@pytest.mark.parametrize("px", [200, 400, 640, 1_000])
def test_the_words_stand_in_the_picture(px: int) -> None:
    """Names, size, the mark of the standing and the warning, whole at every width."""
    proof, art = made(plain(RED), width_mm=200.5)
    sheet = Sheet.of(px)
    size, picture = sheet.letters_px, pixels_of(proof, art, px)
    panel = picture[:, sheet.stage_width_px :] if sheet.beside else picture[sheet.stage_height_px :]
    for words in ("White, size L", "Full front", "200.5 x 133.7 mm", "Printed film"):
        assert found(panel, words, size, INK) > 0.97, words
    assert found(panel, NO_GUARANTEE, size, FAINT_INK) > 0.97
    assert found(panel, "wanted no such words", size, INK) < 0.9


def test_a_refusal_is_marked_with_its_rule() -> None:
    """Dye on cotton cannot be made, and the panel says by which rule, white on red."""
    proof, art = made(plain(RED), method="dye-transfer")
    assert proof.standing is Standing.REFUSED
    assert proof.rule
    picture = pixels_of(proof, art)
    is_mark = (picture == (170, 28, 34)).all(axis=-1)
    assert is_mark.sum() > 2_000


def test_wanted_and_predicted_stand_side_by_side() -> None:
    """Both colours of each palette entry fill a swatch in the panel."""
    proof, art = made(
        plain(GREEN), blank="sport-polyester-tee", colour="royal", method="dye-transfer"
    )
    panel = pixels_of(proof, art)[:, Sheet.of(1_000).stage_width_px :]
    for srgb in (proof.colours[0].wanted, proof.colours[0].predicted):
        assert (panel == srgb_from_hex(srgb)).all(axis=-1).sum() > 500


def test_long_words_are_broken_and_cut() -> None:
    """No line is wider than it may be, and no more lines come than may."""
    text = "A very long sentence that goes on and on " * 9 + "x" * 400
    for most in (1, 3):
        lines = wrapped(text, 14, 180, most)
        assert len(lines) == most
        assert all(text_width(line, 14) <= 180 for line in lines)
    assert wrapped("x" * 400, 14, 180, 2)[0].endswith("...")
    assert wrapped("", 14, 180, 2) == []
