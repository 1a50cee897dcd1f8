"""Text made fit to be shown: nothing is dropped, and nothing hides or turns what stands beside it.

What a font has no glyph for, and what has no shape of its own (controls, marks that turn the
direction of writing), is spelled out by its code point: ``[U+1F600]``.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable

_JOINERS = "\u200c\u200d"
"""They shape Arabic and Indic words and are left where they are."""

_UNSHOWN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
"""General categories without a shape of their own (Unicode Standard, chapter 4; from memory)."""


def any_glyph(_: str) -> bool:
    """For where the reader's own fonts are used."""
    return True


def plain_text(text: str, has_glyph: Callable[[str], bool] = any_glyph) -> str:
    """The text with plain line ends and everything that cannot be shown spelled out."""
    if text.isascii() and text.isprintable():
        return text
    ends = text.replace("\r\n", "\n").replace("\r", "\n").replace("\t", " ")
    return "".join(_shown(letter, has_glyph) for letter in ends)


def _shown(letter: str, has_glyph: Callable[[str], bool]) -> str:
    if letter == "\n" or (letter in _JOINERS and has_glyph(letter)):
        return letter
    if unicodedata.category(letter) in _UNSHOWN or not has_glyph(letter):
        return f"[U+{ord(letter):04X}]"
    return letter
