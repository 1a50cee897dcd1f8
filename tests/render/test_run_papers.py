"""A run's layout and print file, read back by others: svgelements, defusedxml and pypdfium2.

The picture is a corner of red at the left and a dot of blue at the lower right of an ink box, so
that every turn and every mirroring shows.
"""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import date, time
from functools import cache
from io import StringIO
from itertools import combinations, pairwise
from typing import Any
from xml.etree.ElementTree import Element

import numpy as np
import pypdfium2  # type: ignore[import-untyped] # it has no types
import pytest
import shapely
from defusedxml.ElementTree import fromstring
from PIL import Image
from svgelements import SVG, Path, Rect

from service.domain.artwork import InkBox
from service.domain.cut_outline import CutWish, picture_outline
from service.domain.measuring import measure
from service.domain.roll import Strip
from service.domain.run_document import RunDocument, RunPiece
from service.domain.run_paper import RunPaper, shape_of
from service.domain.run_states import RunState
from service.domain.runs import propose_runs
from service.domain.shop import Policy, WorkCalendar
from service.domain.waiting_prints import OnStrip, WaitingPrint, envelope_of
from service.intake.run_papers import FINEST_PPI, read_for_print
from service.render.run_layout_svg import HEAD_MM, outline_path, run_layout_svg
from service.render.run_print_pdf import run_print_pdf
from tests.render.papers import page_picture, pages_of, pdf_text

NAME = "{http://www.w3.org/2000/svg}"
CALENDAR = WorkCalendar(time_zone="UTC", working_weekdays=frozenset(range(5)), cut_off=time(12))
ROLL = Strip("film", 300_000, None, 4_000, 10_000, may_turn=True)
RED, BLUE, WHITE = (200, 0, 0), (0, 0, 200), (255, 255, 255)
PX_PER_MM = 2


@cache
def corner() -> bytes:
    """A red L, its foot to the right, and a blue dot; 200 x 100 pixels of ink, clear around it."""
    pixels = np.zeros((120, 240, 4), np.uint8)
    pixels[10:110, 20:60] = (*RED, 255)
    pixels[90:110, 20:220] = (*RED, 255)
    pixels[50:70, 180:210] = (*BLUE, 255)
    kept = io.BytesIO()
    Image.fromarray(pixels).save(kept, "PNG")
    return kept.getvalue()


BOX = InkBox(left=20, top=10, width=200, height=100)


def waits(ticket: int, *, strip: Strip = ROLL, pieces: int = 2, **changes: Any) -> OnStrip:
    """A print of 140 x 70 mm."""
    known: dict[str, Any] = {
        "ticket": f"T{ticket:06d}",
        "promised_day": date(2026, 3, 2),
        "decoration": 0,
        "placement": "Front",
        "method": "m",
        "medium": strip.medium,
        "film_colour": "White & gold",
        "artwork_id": "art_1",
        "width_um": 140_000,
        "height_um": 70_000,
        "pieces": pieces,
        "print_mirrored": True,
        "cut_mirrored": True,
        "recipe": (),
        "making": ("d1-1-print",),
    }
    envelope_um = changes.pop("envelope_um", None)
    return OnStrip(WaitingPrint(**{**known, **changes}), strip, "film <for> flags", envelope_um)


def run_of(*waiting: OnStrip, policy: Policy | None = None) -> RunDocument:
    """The one run of what waits."""
    (run,) = propose_runs(waiting, policy or Policy(), CALENDAR).runs
    return run


def paper_of(run: RunDocument, *, state: RunState = RunState.ACCEPTED) -> RunPaper:
    """The run with outline and picture of every print."""
    data, rgba = corner(), np.asarray(Image.open(io.BytesIO(corner())))
    mirrored = bool(run.print_mirrored)
    return RunPaper(
        "R000007",
        state,
        run,
        outlines={
            shape_of(one): outline_path(
                picture_outline(rgba, CutWish(one.width_um / 1_000, mirrored=run.mirrored))
            )
            for one in run.prints
        },
        pictures={
            shape_of(one): read_for_print(data, BOX, 10_000, mirrored, 10**6) for one in run.prints
        },
    )


@cache
def usual_run() -> RunDocument:
    """Two tickets, seven pieces, some of them turned."""
    run = run_of(waits(12, pieces=4), waits(13, pieces=3, width_um=100_000, height_um=50_000))
    assert {piece.turned for piece in run.pieces} == {True, False}
    return run


@cache
def close_run() -> RunDocument:
    """Twelve pieces nested by their envelopes, turned in every way."""
    measures = measure(np.asarray(Image.open(io.BytesIO(corner()))))
    plain = [waits(ticket, pieces=6) for ticket in (12, 13)]
    run = run_of(*(replace(one, envelope_um=envelope_of(one.print, measures)) for one in plain))
    assert run.by_envelopes
    assert {piece.turn_deg for piece in run.pieces} >= {90, 180}
    return run


def xml(text: str) -> Element:
    """The tree of a drawing."""
    root: Element = fromstring(text.encode(), forbid_dtd=True)
    return root


def layer(root: Element, name: str) -> Element:
    """The group of that id."""
    (found,) = [group for group in root.iter(f"{NAME}g") if group.get("id") == name]
    return found


def boxes_mm(text: str, kind: type[Any], *, per_mm: float = 1) -> list[tuple[float, ...]]:
    """The bounding boxes of all drawn elements of a kind, in mm below the head."""
    drawing = SVG.parse(StringIO(text), ppi=25.4 * per_mm)
    return [
        tuple(side / per_mm - (HEAD_MM if odd else 0) for odd, side in zip(ODD, box, strict=True))
        for box in (one.bbox(with_stroke=False) for one in drawing.elements() if type(one) is kind)
    ]


ODD = (False, True, False, True)


def lies_mm(run: RunDocument, piece: RunPiece) -> tuple[float, ...]:
    """Left, top, right and lower edge of a piece in the drawing."""
    y_um = run.starts_um(12_000)[piece.part] + piece.y_um
    edges = (piece.x_um, y_um, piece.x_um + piece.width_um, y_um + piece.height_um)
    return tuple(edge / 1_000 for edge in edges)


def test_the_drawing_is_true_to_size() -> None:
    """Strip and boxes lie where the run has them, in mm (CSS Values and Units 3, 5.2: absolute)."""
    run = usual_run()
    text = run_layout_svg(paper_of(run))
    root = xml(text)
    assert root.get("version") == "1.1"
    assert root.get("width") == "320mm"
    assert float(root.get("height", "").removesuffix("mm")) == pytest.approx(
        run.length_um / 1_000 + HEAD_MM
    )
    strip, *boxes = boxes_mm(text, Rect)
    assert strip == pytest.approx((0, 0, 320, run.length_um / 1_000), abs=1e-3)
    assert len(boxes) == len(run.pieces)
    for box, piece in zip(boxes, run.pieces, strict=True):
        assert box == pytest.approx(lies_mm(run, piece), abs=1e-3)


def test_cut_lines_fill_their_boxes() -> None:
    """Each piece's lines reach from side to side of its box, turned or not (tolerance 0.05 mm)."""
    run = usual_run()
    lines = boxes_mm(run_layout_svg(paper_of(run)), Path)
    drawn = lines[-len(run.pieces) :]
    for line, piece in zip(drawn, run.pieces, strict=True):
        assert line == pytest.approx(lies_mm(run, piece), abs=0.12)


def _light_side(run: RunDocument, index: int = 0) -> str:
    """Which side of an upright piece the upper half of its lines keeps to: left or right."""
    text = run_layout_svg(paper_of(run))
    drawing = SVG.parse(StringIO(text), ppi=25.4)
    paths = [one for one in drawing.elements() if type(one) is Path][-len(run.pieces) :]
    piece = run.pieces[index]
    left, top, right, low = lies_mm(run, piece)
    upper = [
        part.end.x
        for part in paths[index]
        if part.end is not None and part.end.y - HEAD_MM < top + (low - top) / 3
    ]
    return "left" if sum(upper) / len(upper) < (left + right) / 2 else "right"


def test_cut_lines_are_mirrored_as_the_method_asks() -> None:
    """The L stands at the left, and at the right where the film is cut from its back."""
    one = waits(1, pieces=1, strip=replace(ROLL, may_turn=False))
    plain = replace(one, print=replace(one.print, print_mirrored=False, cut_mirrored=False))
    assert _light_side(run_of(plain)) == "left"
    assert _light_side(run_of(one)) == "right"


@pytest.mark.parametrize("mirrored", [True, False])
def test_words_are_never_mirrored(*, mirrored: bool) -> None:
    """Numbers, keys and the head stand in layers of their own, which nothing turns."""
    sides: dict[str, Any] = {"print_mirrored": None, "cut_mirrored": mirrored}
    run = run_of(waits(12, pieces=4, **sides), waits(13, pieces=1, **sides))
    root = xml(run_layout_svg(paper_of(run, state=RunState.PROPOSED)))
    words = [text.text or "" for text in layer(root, "labels").iter(f"{NAME}text")]
    assert set(words) >= {piece.key for piece in run.pieces}
    head = words[0]
    assert head == (
        "Run R000007, film <for> flags, White & gold, "
        f"{'MIRRORED' if mirrored else 'NOT MIRRORED'}, PROPOSED"
    )
    order = [text.text for text in layer(root, "order").iter(f"{NAME}text")]
    assert order == [str(number) for number in range(1, len(run.pieces) + 1)]
    for name in ("labels", "order"):
        group = layer(root, name)
        assert [one for one in group.iter() if one.get("transform")] == []
        assert group.get("fill") not in {layer(root, "cut").get("stroke"), None}


def test_words_stay_inside_their_boxes() -> None:
    """However small a piece is: letters are taken 0.62 of their size wide (as a design choice)."""
    tiny = run_of(waits(1, pieces=3, width_um=6_000, height_um=4_000))
    root = xml(run_layout_svg(paper_of(tiny)))
    for text in layer(root, "labels").iter(f"{NAME}text"):
        if (text.text or "").startswith("T0"):
            assert float(text.get("font-size", "")) * 0.62 * len(text.text or "") <= 6.0


def test_what_has_no_outline_is_told() -> None:
    """The box stays, and says so; what is only printed is in a layer that nobody cuts."""
    paper = paper_of(run_of(waits(1, cut_mirrored=None)))
    root = xml(run_layout_svg(paper))
    assert "cut" not in {group.get("id") for group in root.iter(f"{NAME}g")}
    assert len(list(layer(root, "artwork"))) == 2
    bare = xml(run_layout_svg(replace(paper, outlines={})))
    assert len(list(layer(bare, "artwork"))) == 0
    words = [text.text for text in layer(bare, "labels").iter(f"{NAME}text")]
    assert words.count("no outline") == 2


def page_px(run: RunDocument, page: int = 0) -> Any:
    """The pixels of a page of the print file, two to a mm."""
    scale = PX_PER_MM * 25.4 / 72
    return np.asarray(page_picture(run_print_pdf(paper_of(run)), page, scale)).astype(int)


def pixel(pixels: Any, x_mm: float, y_mm: float) -> tuple[int, ...]:
    """The colour at a place of the page."""
    return tuple(pixels[round(y_mm * PX_PER_MM), round(x_mm * PX_PER_MM)])


def on_picture(run: RunDocument, piece: RunPiece, across: float, down: float) -> tuple[float, ...]:
    """Where a point of the artwork, as shares of its sides, lies on the page in mm.

    Mirrored first, then turned clockwise by quarters.
    """
    if run.print_mirrored:
        across = 1 - across
    for _ in range(piece.turn_deg // 90):
        across, down = 1 - down, across
    return (
        (piece.x_um + across * piece.width_um) / 1_000,
        (piece.y_um + down * piece.height_um) / 1_000,
    )


TOLD = {
    (0.1, 0.1): RED,
    (0.9, 0.9): RED,
    (0.87, 0.5): BLUE,
    (0.5, 0.3): WHITE,
    (0.9, 0.1): WHITE,
}


@pytest.mark.parametrize("mirrored", [True, False])
def test_pictures_are_printed_in_true_size_where_they_lie(*, mirrored: bool) -> None:
    """Pixels drawn by an independent reader, for upright and turned pieces, mirrored or not."""
    sides: dict[str, Any] = {"print_mirrored": mirrored, "cut_mirrored": None}
    run = run_of(
        waits(12, pieces=4, **sides),
        waits(13, pieces=3, width_um=100_000, height_um=50_000, **sides),
    )
    assert {piece.turned for piece in run.pieces} == {True, False}
    pixels = page_px(run)
    for piece in run.pieces:
        for (across, down), colour in TOLD.items():
            seen = pixel(pixels, *on_picture(run, piece, across, down))
            assert seen == pytest.approx(colour, abs=12), (piece.key, across, down)
        left, top = piece.x_um / 1_000, piece.y_um / 1_000
        right, low = left + piece.width_um / 1_000, top + piece.height_um / 1_000
        for x, y in (
            (left - 1, top - 1),
            (right + 1, top - 1),
            (left - 1, low + 1),
            (right + 1, low + 1),
        ):
            assert pixel(pixels, x, y) == WHITE
        # The foot of the L reaches from end to end, so its pixels give the printed size.
        assert _inked_mm(pixels, left, top, right, low) == pytest.approx(
            (right - left, low - top), abs=0.6
        )


def test_pieces_in_each_others_boxes_are_printed_and_cut_as_they_lie() -> None:
    """Each picture stands under its own cut lines, and these within its envelope, however turned.

    Lines may lie off by their tolerance of 0.05 mm and what is rounded to a micrometre.
    """
    run = close_run()
    pixels, text = page_px(run), run_layout_svg(paper_of(run))
    inked = {place: colour for place, colour in TOLD.items() if colour != WHITE}
    paths = [one for one in SVG.parse(StringIO(text), ppi=25.4).elements() if type(one) is Path]
    envelopes, lines = paths[-2 * len(run.pieces) : -len(run.pieces)], paths[-len(run.pieces) :]
    for piece, around, cut in zip(run.pieces, envelopes, lines, strict=True):
        for (across, down), colour in inked.items():
            seen = pixel(pixels, *on_picture(run, piece, across, down))
            assert seen == pytest.approx(colour, abs=12), (piece.key, across, down)
        assert cut.bbox() == pytest.approx(
            [edge + HEAD_MM * odd for edge, odd in zip(lies_mm(run, piece), ODD, strict=True)],
            abs=0.12,
        )
        allowed = shapely.buffer(_drawn(around), 0.06)
        assert shapely.covers(allowed, _drawn(cut))
    for one, other in combinations(map(_drawn, envelopes), 2):
        assert shapely.distance(one, other) >= run.gap_um / 1_000 - 0.002
    root = xml(text)
    for group, anchor in (("order", "start"), ("labels", "middle")):
        words = list(layer(root, group).iter(f"{NAME}text"))[-len(run.pieces) :]
        for around, told in zip(envelopes, words, strict=True):
            at = float(told.get("x", "")), float(told.get("y", "")) + HEAD_MM
            assert told.get("text-anchor") == anchor
            assert shapely.contains_xy(_drawn(around), *at)


def _drawn(path: Path) -> shapely.Geometry:
    """What a path goes around, holes filled."""
    rings = [
        [(line.end.x, line.end.y) for line in part if line.end is not None]
        for part in path.as_subpaths()
    ]
    return shapely.union_all([shapely.polygons(ring) for ring in rings])


def _inked_mm(
    pixels: Any, left: float, top: float, right: float, low: float
) -> tuple[float, float]:
    around = pixels[
        round((top - 1.5) * PX_PER_MM) : round((low + 1.5) * PX_PER_MM),
        round((left - 1.5) * PX_PER_MM) : round((right + 1.5) * PX_PER_MM),
    ]
    inked = (around.min(axis=2) < 128).nonzero()
    return tuple((axis.max() - axis.min() + 1) / PX_PER_MM for axis in inked[::-1])


def test_the_page_is_as_large_as_the_strip() -> None:
    """In points of 1/72 inch (ISO 32000-1, 8.3.2.3, from memory)."""
    run = usual_run()
    with pypdfium2.PdfDocument(run_print_pdf(paper_of(run))) as document:
        sides = [side / 72 * 25.4 for side in document[0].get_size()]
    assert sides == pytest.approx([320, run.length_um / 1_000], abs=0.01)


def test_marks_tell_the_beginning_and_the_left() -> None:
    """A square in each corner, bars where the strip begins, a second one at the left."""
    run = usual_run()
    pixels, low = page_px(run), run.length_um / 1_000
    black = (0, 0, 0)
    for x in (4.5, 320 - 4.5):
        for y in (4.5, low - 4.5):
            assert pixel(pixels, x, y) == black
    along_top = [pixel(pixels, x, 2.8) for x in (14, 320 - 14)]
    along_end = [pixel(pixels, x, low - 2.8) for x in (14, 320 - 14)]
    down = [pixel(pixels, x, 14) for x in (2.8, 320 - 2.8)]
    assert along_top == [black, black]
    assert along_end == [WHITE, WHITE]
    assert down == [black, WHITE]


def test_the_margin_names_run_side_and_tickets() -> None:
    """All text that an independent reader takes out."""
    text = pdf_text(run_print_pdf(paper_of(usual_run())))
    for words in ("R000007", "MIRRORED", "T000012", "T000013", "film <for> flags", "White & gold"):
        assert words in text
    assert "NOT MIRRORED" not in text


def test_without_a_margin_nothing_stands_in_the_way() -> None:
    """Marks and words have no room; the pictures are printed all the same."""
    run = run_of(waits(1, strip=replace(ROLL, margin_um=0)))
    file = run_print_pdf(paper_of(run))
    assert pdf_text(file) == ""
    assert pages_of(file) == 1


def test_a_long_print_and_sheets_have_a_page_for_each_part() -> None:
    """Each names itself; every piece is drawn once."""
    short = Policy(run_length_mm=300.0)
    run = run_of(waits(1, pieces=11), policy=short)
    assert len(run.parts_um) > 1
    file = run_print_pdf(paper_of(run))
    assert pages_of(file) == len(run.parts_um)
    assert f"part 1 of {len(run.parts_um)}" in pdf_text(file)
    sheet = Strip("sheet", 190_000, 280_000, 4_000, 6_000, may_turn=True)
    sheets = run_of(waits(1, strip=sheet, pieces=9))
    assert pages_of(run_print_pdf(paper_of(sheets))) == len(sheets.parts_um) > 1
    strips = boxes_mm(run_layout_svg(paper_of(sheets)), Rect)[: len(sheets.parts_um)]
    for one, other in pairwise(strips):
        assert other[1] - one[3] == pytest.approx(12)


def test_the_same_run_gives_the_same_bytes() -> None:
    """Drawn twice, and drawn again after another run."""
    paper = paper_of(usual_run())
    first = run_print_pdf(paper), run_layout_svg(paper)
    run_print_pdf(paper_of(run_of(waits(5))))
    assert (run_print_pdf(paper), run_layout_svg(paper)) == first


def test_a_file_holds_each_picture_once() -> None:
    """Ten pieces take hardly more than one."""
    noise = np.random.default_rng(1).integers(0, 255, (300, 300, 4), np.uint8)
    kept = io.BytesIO()
    Image.fromarray(noise).save(kept, "PNG")
    picture = read_for_print(
        kept.getvalue(),
        InkBox(left=0, top=0, width=300, height=300),
        10_000,
        mirrored=False,
        max_pixels=10**6,
    )
    sizes = []
    for pieces in (1, 10):
        run = run_of(waits(1, pieces=pieces))
        paper = replace(paper_of(run), pictures={shape_of(run.prints[0]): picture})
        sizes.append(len(run_print_pdf(paper)))
    assert sizes[1] < sizes[0] * 1.1


def test_a_finer_picture_is_made_as_fine_as_is_seen() -> None:
    """At 300 ppi at its print width; a coarser one keeps its own pixels."""
    fine = read_for_print(corner(), BOX, 100, mirrored=False, max_pixels=10**6)
    assert (fine.width_px, fine.height_px) == (100, 50)
    own = read_for_print(corner(), BOX, 5_000, mirrored=False, max_pixels=10**6)
    assert (own.width_px, own.height_px) == (200, 100)
    assert FINEST_PPI == 300


def test_every_size_in_the_drawing_is_a_plain_number() -> None:
    """No exponent, no NaN: SVG 1.1, 4.2 allows the first, machines may not."""
    text = run_layout_svg(paper_of(usual_run()))
    numbers = re.findall(r'(?:x|y|width|height|d|transform|viewBox)="([^"]*)"', text)
    assert numbers
    assert not re.search(r"nan|inf|\de", " ".join(numbers))
