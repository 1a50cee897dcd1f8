"""The letters on paper: a wide font embedded in part, right-to-left writing, and joined scripts.

FiraGO covers Latin, Greek, Cyrillic, Arabic, Hebrew, Devanagari and Thai. Order of writing is by
the Unicode Bidirectional Algorithm (UAX 9), shapes by HarfBuzz.
"""

from __future__ import annotations

import io
import itertools
import threading
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Any, Final

import bidi.algorithm as bidi_steps  # type: ignore[import-untyped] # it has no types
import pymupdf_fonts  # type: ignore[import-untyped] # it has no types
import uharfbuzz  # type: ignore[import-untyped] # it has no types
from reportlab.pdfbase import pdfmetrics  # type: ignore[import-untyped] # it has no types
from reportlab.pdfbase.ttfonts import (  # type: ignore[import-untyped] # it has no types
    ShapeData,
    ShapedStr,
    TTFont,
)

from service.render.plain_text import plain_text

REGULAR: Final = "Ticket"
BOLD: Final = "Ticket-Bold"
_FACES: Final = {REGULAR: "figo", BOLD: "figbo"}

DRAWING = threading.Lock()
"""A font serves one document at a time: held while a PDF is measured and written."""

_FORMS = 0xF0000
"""Joined forms that no character stands for are called by this plus their glyph's number."""

_JOINED_FROM = 0x300
"""Below it nothing is joined, moved or written from the right (Unicode code charts)."""

_UPRIGHT = ((0x370, 0x483), (0x48A, 0x590), (0x1E00, 0x2000), (0x2010, 0x2028), (0x2030, 0x2060))
"""Ranges above it of which the same is true: Greek, Cyrillic, their like, and punctuation."""


class PaperFont(TTFont):  # type: ignore[misc] # its base has no types
    """The font, which keeps what its joined forms mean so that text can be taken out again."""

    def __init__(self, name: str, data: bytes) -> None:
        """Read the font's file."""
        super().__init__(name, io.BytesIO(data))
        self.meanings: dict[int, str] = {}

    def form(self, glyph: int, means: str) -> str:
        """A character to write for the glyph, which stands for ``means``."""
        code = _FORMS + glyph
        if code not in self.face.charToGlyph:
            self.face.charToGlyph[code] = glyph
            self.face.charWidths[code] = self._advance(glyph)
        self.meanings.setdefault(code, means)
        return chr(code)

    def _advance(self, glyph: int) -> float:
        advance: float = shaper(self.fontName).get_glyph_h_advance(glyph)
        return advance * _per_mille(self.fontName)

    def addObjects(self, doc: Any) -> None:  # noqa: ANN401, N802 (the library's own name and type)
        """Write the parts of the font that a document uses, with what every code in it means."""
        subsets = [list(subset) for subset in self.state[doc].subsets]
        names = [self.getSubsetInternalName(n, doc)[1:] for n in range(len(subsets))]
        super().addObjects(doc)
        fonts = doc.idToObject["BasicFonts"].dict
        for name, subset in zip(names, subsets, strict=True):
            base = fonts[name].BaseFont
            doc.idToObject[f"toUnicodeCMap:{base}"].content = _meanings(subset, self.meanings)


def _meanings(subset: Sequence[int], forms: dict[int, str]) -> str:
    """What each code means as text (ISO 32000-1, 9.10.3, from memory)."""
    rows = []
    for index, code in enumerate(subset):
        means = forms.get(code) or chr(code)
        rows.append(f"<{index:02X}> <{means.encode('utf-16-be').hex().upper()}>")
    parts = [rows[at : at + 100] for at in range(0, len(rows), 100)]
    tables = [f"{len(part)} beginbfchar\n" + "\n".join(part) + "\nendbfchar" for part in parts]
    head = (
        "/CIDInit /ProcSet findresource begin\n12 dict begin\nbegincmap\n"
        "/CIDSystemInfo << /Registry (Adobe) /Ordering (UCS) /Supplement 0 >> def\n"
        "/CMapName /Adobe-Identity-UCS def\n/CMapType 2 def\n"
        "1 begincodespacerange\n<00> <FF>\nendcodespacerange\n"
    )
    foot = "\nendcmap\nCMapName currentdict /CMap defineresource pop\nend\nend"
    return head + "\n".join(tables) + foot


@cache
def font(name: str) -> PaperFont:
    """The font of that name, read once; it takes a third of a second."""
    made = PaperFont(name, pymupdf_fonts.fontbuffers[_FACES[name]]())
    pdfmetrics.registerFont(made)
    return made


@cache
def shaper(name: str) -> Any:  # noqa: ANN401 (the library has no types)
    """The shaping font behind a font."""
    return uharfbuzz.Font(uharfbuzz.Face(uharfbuzz.Blob(font(name).face._ttf_data)))  # noqa: SLF001


def _per_mille(name: str) -> float:
    """Thousandths of the letters' size in a unit of the font."""
    scale: float = 1_000 / shaper(name).face.upem
    return scale


def shown_on_paper(text: str) -> str:
    """The text with all that the font lacks spelled out."""
    has = font(REGULAR).face.charToGlyph
    return plain_text(text, lambda letter: ord(letter) in has)


def is_upright(text: str) -> bool:
    """Whether each character is drawn by itself, from left to right."""
    return text.isascii() or all(map(_is_upright, text))


def _is_upright(letter: str) -> bool:
    code = ord(letter)
    return code < _JOINED_FROM or any(first <= code < last for first, last in _UPRIGHT)


@lru_cache(maxsize=20_000)
def unit_width(text: str, name: str) -> float:
    """Width of text that is not folded, at size 1."""
    if is_upright(text):
        width: float = font(name).stringWidth(text, 1)
        return width
    return sum(stretch.width for stretch in stretches(text, name, from_right=False))


@dataclass(frozen=True, slots=True)
class TextStretch:
    """A stretch of a line, as it is to be written from left to right; its width at size 1."""

    text: Any
    width: float


def reads_from_right(paragraph: str) -> bool:
    """Whether the first letter with a direction is written from the right (UAX 9, P2 and P3)."""
    return not is_upright(paragraph) and bidi_steps.get_base_level(paragraph) == 1


def stretches(line: str, name: str, *, from_right: bool) -> list[TextStretch]:
    """The line's stretches in the order of the paper."""
    return [_shaped(text, name, level) for text, level in _in_order(line, from_right=from_right)]


def _in_order(line: str, *, from_right: bool) -> Iterator[tuple[str, int]]:
    """Stretches of one level, reordered by rule L2: from the highest level to the lowest odd."""
    levels = _levels(line, from_right=from_right)
    runs = [
        ("".join(letter for letter, _ in run), level)
        for level, run in itertools.groupby(zip(line, levels, strict=True), key=lambda one: one[1])
    ]
    for least in range(max(levels, default=0), 0, -1):
        turned: list[tuple[str, int]] = []
        for high, group in itertools.groupby(runs, key=lambda run: run[1] >= least):
            inside = list(group)
            turned += reversed(inside) if high else inside
        runs = turned
    yield from runs


def _levels(line: str, *, from_right: bool) -> list[int]:
    """The level of each letter.

    What the algorithm leaves out (UAX 9, X9), as the joiners of Arabic and Indic words, goes with
    the letter before it.
    """
    counted = [unicodedata.bidirectional(letter) != "BN" for letter in line]
    levels = iter(_resolved("".join(itertools.compress(line, counted)), from_right=from_right))
    level, found = int(from_right), []
    for counts in counted:
        level = next(levels) if counts else level
        found.append(level)
    return found


def _resolved(line: str, *, from_right: bool) -> list[int]:
    storage = bidi_steps.get_empty_storage()
    storage["base_level"], storage["base_dir"] = int(from_right), "R" if from_right else "L"
    bidi_steps.get_embedding_levels(line, storage)
    bidi_steps.explicit_embed_and_overrides(storage)
    bidi_steps.resolve_weak_types(storage)
    bidi_steps.resolve_neutral_types(storage, debug=False)
    bidi_steps.resolve_implicit_levels(storage, debug=False)
    return [one["level"] for one in storage["chars"]]


def _shaped(text: str, name: str, level: int) -> TextStretch:
    face, buffer = font(name), uharfbuzz.Buffer()
    buffer.add_str(text)
    buffer.guess_segment_properties()
    buffer.direction = "rtl" if level % 2 else "ltr"
    uharfbuzz.shape(shaper(name), buffer, {})
    ends = sorted({info.cluster for info in buffer.glyph_infos} | {len(text)})
    letters, shapes, width = "", [], 0.0
    for info, position in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
        means = text[info.cluster : ends[ends.index(info.cluster) + 1]]
        letter = _letter(face, info.codepoint, means)
        scaled = (position.x_advance, position.y_advance, position.x_offset, position.y_offset)
        given = [one * _per_mille(name) for one in scaled]
        shapes.append(ShapeData(info.cluster, *given, face.face.charWidths[ord(letter)]))
        letters += letter
        width += given[0] / 1_000
    return TextStretch(ShapedStr(letters, shapeData=shapes), width)


def _letter(face: PaperFont, glyph: int, means: str) -> str:
    """The character itself where the glyph is its own, else a form that stands for it."""
    if len(means) == 1 and face.face.charToGlyph.get(ord(means)) == glyph:
        return means
    turned: list[int] = face.face.glyphToChar.get(glyph, [])
    if unicodedata.mirrored(means[:1]) and turned:
        return chr(turned[0])
    return face.form(glyph, means)
