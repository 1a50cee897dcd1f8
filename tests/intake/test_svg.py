"""SVG drawings: how they are drawn, and what is refused with which code, quickly."""

from __future__ import annotations

import gzip
from contextlib import nullcontext
from io import BytesIO

import numpy as np
import pytest
import resvg_py
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from svgelements import Path

from service.domain.errors import BadInput
from service.intake import svg_drawing
from service.intake.pictures import Picture, read_picture
from service.intake.svg_cost import cost_of
from service.intake.svg_paths import transform
from service.intake.svg_reach import path_reaches, reach
from service.intake.svg_reading import read_svg

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
MAX_PIXELS = 40_000
RED = '<rect width="10" height="10" fill="red"/>'


def _svg(body: str, head: str = 'viewBox="0 0 10 10"') -> bytes:
    return f"{HEAD} {head}>{body}</svg>".encode()


def _read(data: bytes, max_pixels: int = MAX_PIXELS) -> Picture:
    return read_picture(
        data, declared_media_type="image/svg+xml", max_pixels=max_pixels, max_bytes=10**7
    )


def _refusal(data: bytes) -> tuple[str, str]:
    """Code and detail. How long that takes is watched by ``tests.fuzz``."""
    with pytest.raises(BadInput) as refused:
        _read(data)
    (fault,) = refused.value.faults
    return fault.code, fault.detail


@pytest.mark.parametrize(
    ("head", "sides"),
    [
        ('viewBox="0 0 10 10"', (200, 200)),
        ('viewBox="-5 -5 10 40"', (100, 400)),
        ('width="40mm" height="10mm"', (400, 100)),
        ('width="100%" height="100%" viewBox="0 0 40 10"', (400, 100)),
        ('width="1in" height="96px" viewBox="0 0 40 10"', (200, 200)),
        ('width="80" viewBox="0 0 40 10"', (400, 100)),
        ('height="80" viewBox="0 0 40 10"', (400, 100)),
    ],
)
def test_sides(head: str, sides: tuple[int, int]) -> None:
    """A drawing is drawn in its own proportions, as large as the pixel limit allows."""
    picture = _read(_svg('<path d="M-50-50h200v200h-200z"/>', head))
    assert picture.media_type == "image/svg+xml"
    assert abs(picture.width_px - sides[0]) <= 1
    assert abs(picture.height_px - sides[1]) <= 1
    assert picture.width_px * picture.height_px <= MAX_PIXELS


def test_longest_side() -> None:
    """However many pixels are allowed, the longer side keeps to its limit."""
    picture = _read(_svg('<rect width="900" height="9"/>', 'viewBox="0 0 900 9"'), 10**8)
    assert (picture.width_px, picture.height_px) == (svg_drawing.LONGEST_SIDE_PX, 40)


@pytest.mark.parametrize(
    "shape",
    [
        '<circle cx="5" cy="5" r="4"/>',
        '<ellipse cx="5" cy="5" rx="4" ry="4"/>',
        '<path d="M1 5A4 4 0 0 1 9 5A4 4 0 0 1 1 5z"/>',
        '<g transform="translate(5 5) rotate(30) scale(2)"><circle r="2"/></g>',
        '<defs><circle id="a" r="4"/></defs><use href="#a" x="5" y="5"/>',
        '<clipPath id="c"><circle cx="5" cy="5" r="4"/></clipPath><g clip-path="url(#c)">'
        + RED
        + "</g>",
        '<mask id="m"><circle cx="5" cy="5" r="4" fill="#fff"/></mask><g mask="url(#m)">'
        + RED
        + "</g>",
        '<circle cx="5" cy="5" r="2" stroke="#000" stroke-width="4"/>',
        '<style>.e{fill:#000}</style><circle class="e" cx="5" cy="5" r="4" fill="none"/>',
    ],
)
def test_a_disc_drawn_in_many_ways(shape: str) -> None:
    """A disc of radius 4 in a square of 10 covers pi 16 / 100 of it, however it is written."""
    rgba = _read(_svg(shape)).rgba
    assert abs(rgba[..., 3].mean() / 255 - np.pi * 0.16) < 0.004
    assert rgba[100, 100, 3] == 255


def test_colours_and_alpha() -> None:
    """Fills keep their sRGB codes, opacity is straight alpha, gradients run between their stops."""
    body = (
        '<linearGradient id="g"><stop offset="0" stop-color="#000"/>'
        '<stop offset="1" stop-color="#fff"/></linearGradient>'
        '<rect width="5" height="5" fill="#c86432"/>'
        '<rect x="5" width="5" height="5" style="fill:rgb(200,100,50);fill-opacity:.5"/>'
        '<rect y="5" width="10" height="5" fill="url(#g)"/>'
    )
    rgba = _read(_svg(body)).rgba
    assert rgba[50, 50].tolist() == [200, 100, 50, 255]
    assert np.abs(rgba[50, 150].astype(int) - (200, 100, 50, 128)).max() <= 2
    assert abs(int(rgba[150, 100, 0]) - 128) <= 3


def test_styles_win_over_attributes() -> None:
    """A rule beats an attribute, an id a class, and the style attribute all (CSS cascade)."""
    sheet = (
        "<style>rect{fill:#010000}.a{fill:#020000}#i{fill:#030000} .b , .c {fill:#040000}</style>"
    )
    for shape, red in [
        ('<rect fill="#090000"', 1),
        ('<rect class="a" fill="#090000"', 2),
        ('<rect class="a x" id="i"', 3),
        ('<rect class="c"', 4),
        ('<rect class="a" id="i" style="fill:#050000"', 5),
    ]:
        rgba = _read(_svg(f'{sheet}{shape} width="10" height="10"/>')).rgba
        assert rgba[100, 100, 0] == red


def test_programs_notes_are_left_out() -> None:
    """Descriptions, other namespaces and a named document type do not cost the drawing."""
    notes = (
        '<?xml version="1.0"?><!-- note --><!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" '
        '"http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd">'
        f'{HEAD} xmlns:n="http://notes.example/" viewBox="0 0 10 10" n:zoom="3" version="1.1">'
        f'<title>t</title><n:view><n:grid n:a="1"/></n:view><metadata><n:x/></metadata>{RED}</svg>'
    )
    assert _read(b"\xef\xbb\xbf" + notes.encode()).rgba[9, 9].tolist() == [255, 0, 0, 255]


_LAUGHS = '<!DOCTYPE svg [<!ENTITY a "haha">' + "".join(
    f'<!ENTITY {now} "{f"&{before};" * 10}">'
    for before, now in zip("abcdefgh", "bcdefghi", strict=True)
)
_COPIES = "".join(
    f'<g id="a{at}">' + f'<use xlink:href="#a{at - 1}"/>' * 10 + "</g>" for at in range(1, 10)
)


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (_svg("<g>" * 10_000 + RED + "</g>" * 10_000), "picture-svg-too-complex"),
        (f"{_LAUGHS}]>{HEAD}><title>&i;</title></svg>".encode(), "picture-svg-entities"),
        (
            f'<!DOCTYPE svg [<!ENTITY a SYSTEM "file:///a">]>{HEAD}>&a;</svg>',
            "picture-svg-entities",
        ),
        (
            f'<!DOCTYPE svg [<!ENTITY % a SYSTEM "http://a.example/">%a;]>{HEAD}/>',
            "picture-svg-entities",
        ),
        (_svg(f'<g id="a0">{RED}</g>{_COPIES}<use href="#a9"/>'), "picture-svg-too-complex"),
        (_svg('<g id="a"><use href="#a"/></g>'), "picture-svg-too-complex"),
        (_svg(RED * 20_001), "picture-svg-too-complex"),
        (_svg("<!--" + "x" * 1_500_000 + "-->"), "picture-svg-too-complex"),
        (
            _svg(("<g opacity='.9'>" * 40 + RED + "</g>" * 40) * 50),
            "picture-svg-too-complex",
        ),
        (
            _svg('<path stroke="red" stroke-dasharray=".0001" d="M0 0L9 9"/>'),
            "picture-svg-too-complex",
        ),
        (_svg('<path d="M-1e8-1e8L1e8 1e8V0z"/>'), "picture-svg-too-complex"),
        (
            _svg('<linearGradient id="a" href="#b"/><linearGradient id="b" href="#a"/>'),
            "picture-svg-too-complex",
        ),
        (_svg("<script>alert(1)</script>"), "picture-svg-script"),
        (_svg('<g onload="x()"/>'), "picture-svg-script"),
        (_svg("<metadata><script/></metadata>"), "picture-svg-script"),
        (_svg('<use href="javascript:x()"/>'), "picture-svg-script"),
        (_svg("<foreignObject/>"), "picture-svg-script"),
        (_svg('<rect fill="url(http://a.example/b#c)"/>'), "picture-svg-reference"),
        (_svg('<rect style="fill:url(other.svg#c)"/>'), "picture-svg-reference"),
        (_svg('<use xlink:href="file:///etc/passwd#a"/>'), "picture-svg-reference"),
        (_svg("<style>rect{fill:url(x)}</style><rect/>"), "picture-svg-reference"),
        (b"<?xml-stylesheet href='a.css'?>" + _svg(RED), "picture-svg-reference"),
        (_svg("<style>@import 'a.css';</style>"), "picture-svg-style"),
        (_svg("<style>g > rect{fill:red}</style>"), "picture-svg-style"),
        (_svg('<rect style="fill:red!important"/>'), "picture-svg-style"),
        (_svg('<rect style="width:5px"/>'), "picture-svg-style"),
        (_svg('<image href="data:image/png;base64,AA"/>'), "picture-svg-image"),
        (_svg("<text>words</text>"), "picture-svg-text"),
        (_svg('<filter id="f"/>'), "picture-svg-element"),
        (_svg('<pattern id="f"/>'), "picture-svg-element"),
        (_svg('<rect style="mix-blend-mode:multiply"/>'), "picture-svg-element"),
        (_svg('<rect filter="url(#f)"/>'), "picture-svg-element"),
        (_svg("<svg/>"), "picture-svg-element"),
        (b"<html><svg></svg></html>", "picture-svg-element"),
        (b"<svg width='1' height='1'/>", "picture-svg-element"),
        (_svg('<animate attributeName="x"/>'), "picture-animated"),
        (_svg(RED, ""), "picture-svg-size"),
        (_svg(RED, 'width="100%" height="100%"'), "picture-svg-size"),
        (_svg(RED, 'viewBox="0 0 0 10"'), "picture-svg-size"),
        (_svg(RED, 'viewBox="0 0 1 20000"'), "picture-svg-size"),
        (_svg(RED, 'width="5em" height="5"'), "picture-unreadable"),
        (_svg('<g transform="spin(4)"/>'), "picture-unreadable"),
        (_svg("<g></rect>"), "picture-unreadable"),
        (_svg(RED)[:-20], "picture-truncated"),
        (_svg('<rect width="10" height="10" fill="none"/>'), "picture-transparent"),
        (_svg('<rect width="10" height="10" fill-opacity="0"/>'), "picture-transparent"),
        (_svg('<rect width=".001" height=".001"/>', 'viewBox="0 0 99 99"'), "picture-transparent"),
        (gzip.compress(_svg(RED), mtime=0), "picture-type-unknown"),
    ],
)
def test_refused(data: bytes | str, code: str) -> None:
    """Everything that acts, refers elsewhere, is unbounded or not drawn here is refused at once."""
    told, detail = _refusal(data.encode() if isinstance(data, str) else data)
    assert told == code, detail
    assert detail.endswith(".")


_LONG_PATH = f'<defs><path id="p" d="M0 0{"l1 1l-1-1" * 50_000}"/></defs>'


@pytest.mark.parametrize(
    "body",
    [
        f'<g opacity=".5">{RED}</g>' * 5_000,
        '<rect width="10" height="10" opacity=".5"/>' * 19_990,
        _LONG_PATH + '<use href="#p"/>' * 9_000,
    ],
)
def test_the_too_costly_is_never_drawn(body: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Layer upon layer, and a long path in thousands of copies, are refused by reckoning alone."""
    monkeypatch.setattr(resvg_py, "svg_to_bytes", lambda **_: pytest.fail("drawn"))
    told, detail = _refusal(_svg(body))
    assert told == "picture-svg-too-complex"
    assert "even at 1,000 px" in detail


@pytest.mark.parametrize(("fill", "sides"), [("red", [500, 1_000]), ("none", [500])])
def test_nothing_to_see_is_found_in_a_small_drawing(
    fill: str, sides: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What has something to see is drawn small and then large; what has nothing only small."""
    drawn = []
    draw = resvg_py.svg_to_bytes

    def watched(*, svg_string: str, skip_system_fonts: bool) -> bytes:
        png = draw(svg_string=svg_string, skip_system_fonts=skip_system_fonts)
        drawn.append(Image.open(BytesIO(png)).width)
        return png

    monkeypatch.setattr(resvg_py, "svg_to_bytes", watched)
    with nullcontext() if fill == "red" else pytest.raises(BadInput, match="seen at 500 px"):
        _read(_svg(f'<rect width="8" height="8" fill="{fill}"/>'), 10**6)
    assert drawn == sides


def test_what_is_costly_is_drawn_smaller() -> None:
    """A drawing of many large layers is drawn with fewer pixels, not for longer."""
    plain = cost_of(read_svg(_svg(RED)), (0, 0, 10, 10))
    layers = _svg(f'<g opacity=".5">{RED}{RED}</g>' * 8)
    costly = cost_of(read_svg(layers), (0, 0, 10, 10))
    assert costly.ns(2_000, 2_000) > 5 * plain.ns(2_000, 2_000)
    frame = svg_drawing._viewport(read_svg(layers))
    width, _ = svg_drawing._size(frame, costly, 10**8)
    assert svg_drawing.LEAST_SIDE_PX <= width < 2_000
    assert costly.ns(width, width) <= svg_drawing.MOST_NS


_PLACE = st.integers(-90, 90)
_STEP = st.one_of(
    st.tuples(st.sampled_from("MmLlTt"), _PLACE, _PLACE),
    st.tuples(st.sampled_from("HhVv"), _PLACE),
    st.tuples(st.sampled_from("SsQq"), *[_PLACE] * 4),
    st.tuples(st.sampled_from("Cc"), *[_PLACE] * 6),
    st.tuples(
        st.sampled_from("Aa"),
        *(st.integers(1, 50), st.integers(1, 50), st.integers(0, 90)),
        *(st.integers(0, 1), st.integers(0, 1), _PLACE, _PLACE),
    ),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(_STEP, min_size=1, max_size=6), st.booleans())
def test_reach_holds_the_path(steps: list[tuple[object, ...]], closed: bool) -> None:  # noqa: FBT001 - drawn
    """The box is around the one that svgelements, an independent parser, finds."""
    text = "M1 2" + "".join(f"{step[0]}{' '.join(map(str, step[1:]))}" for step in steps)
    text += "z" if closed else ""
    root = read_svg(_svg(f'<path d="{text}"/>'))
    found = reach(root[0], 10, 10)
    assert found is not None
    around = Path(text).bbox()
    if around is not None:
        left, top, right, bottom = around
        assert found.box[0] <= left + 1e-6
        assert found.box[1] <= top + 1e-6
        assert found.box[2] >= right - 1e-6
        assert found.box[3] >= bottom - 1e-6


_PATHS = st.lists(st.lists(_STEP, max_size=5), min_size=1, max_size=5)


@settings(max_examples=40, deadline=None)
@given(_PATHS)
def test_paths_walked_together_reach_as_far_as_alone(paths: list[list[tuple[object, ...]]]) -> None:
    """No path's end, handle or start carries over into the next."""
    texts = ["".join(f"{step[0]}{' '.join(map(str, step[1:]))}" for step in path) for path in paths]
    assert path_reaches(texts) == [path_reaches([text])[0] for text in texts]


@pytest.mark.parametrize(
    ("shape", "box", "pieces", "length"),
    [
        ('<path d="M1 2h3v4z"/>', (1, 2, 4, 6), 3, 12),
        ('<path d="m1 2 3 0 0 4zl0 1"/>', (1, 2, 4, 6), 4, 13 + 1),
        ('<polygon points="1,2 4,2 4,6"/>', (1, 2, 4, 6), 3, 12),
        ('<polyline points="1 2e0 4 2x4 6"/>', (1, 2, 4, 6), 3, 12),
        ('<line x1="4" y1="1" x2="1" y2="5"/>', (1, 1, 4, 5), 2, 10),
        ('<path d="M0 0Q4 8 8 0T16 0"/>', (0, -8, 16, 8), 9, 4 * 80**0.5 + 16),
        ('<path d=""/>', None, 0, 0),
    ],
)
def test_reach_of_plain_shapes(
    shape: str, box: tuple[int, ...] | None, pieces: int, length: float
) -> None:
    """Triangles 3-4-5 and mirrored handles, worked by hand; closing a shape is a way too."""
    found = reach(read_svg(_svg(shape))[0], 10, 10)
    if box is None:
        assert found is None
        return
    assert found is not None
    assert found.box == pytest.approx(box)
    assert found.pieces == pieces
    assert found.length == pytest.approx(length)


@pytest.mark.parametrize(
    ("text", "matrix"),
    [
        (None, (1, 0, 0, 1, 0, 0)),
        ("translate(3)", (1, 0, 0, 1, 3, 0)),
        ("scale(2,3) translate(1 1)", (2, 0, 0, 3, 2, 3)),
        ("rotate(90)", (0, 1, -1, 0, 0, 0)),
        ("rotate(90 1 0)", (0, 1, -1, 0, 1, -1)),
        ("matrix(1 2 3 4 5 6)", (1, 2, 3, 4, 5, 6)),
        ("skewX(45)", (1, 0, 1, 1, 0, 0)),
        ("skewY(45)", (1, 1, 0, 1, 0, 0)),
    ],
)
def test_transforms(text: str | None, matrix: tuple[float, ...]) -> None:
    """Matrices of SVG 1.1, section 7.6 (from memory), worked by hand."""
    assert transform(text) == pytest.approx(matrix)


def test_a_picture_file_is_no_drawing() -> None:
    """A drawing sent as PNG, and a PNG sent as a drawing, are told apart by their content."""
    stream = BytesIO()
    Image.new("RGB", (3, 3)).save(stream, "PNG")
    assert _refusal(stream.getvalue())[0] == "picture-type-mismatch"
    with pytest.raises(BadInput) as refused:
        read_picture(_svg(RED), declared_media_type="image/png", max_pixels=100, max_bytes=1_000)
    assert refused.value.faults[0].code == "picture-type-mismatch"
