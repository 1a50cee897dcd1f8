"""An SVG file as a tree of plain vector elements: whatever else it holds is refused or left out.

Well-formed XML (XML 1.0) without entities, of bounded bytes, elements and depth. Nothing outside
the file is ever fetched. What is drawn later is written anew from this tree, so a renderer never
sees a byte that was not looked at here.

Refused: scripts, references to other files, text, pictures inside the drawing, animation, and every
element that changes the look in a way that is not bounded here. Left out: descriptions, and
elements and attributes of other namespaces, in which drawing programs keep their own notes.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import NoReturn
from xml.etree.ElementTree import Element, ParseError, TreeBuilder

from defusedxml.common import DefusedXmlException, DTDForbidden
from defusedxml.ElementTree import DefusedXMLParser

from service.intake.picture_refusals import refuse
from service.intake.svg_styles import StyleSheet, declarations

SVG_NAMESPACE = "http://www.w3.org/2000/svg"

MOST_BYTES = 1_000_000
"""Bytes of a drawing that are read. Design choice: they are walked number by number."""
MOST_ELEMENTS = 20_000
"""Elements of a drawing that are read. Design choice."""
MOST_DEPTH = 64
"""How deep elements may lie in one another. Design choice; drawings nest up to twenty deep (from
memory)."""

GRADIENTS = frozenset({"linearGradient", "radialGradient"})
SHAPES = frozenset({"path", "rect", "circle", "ellipse", "line", "polyline", "polygon"})
_GROUPS = frozenset({"svg", "g", "defs", "symbol", "use", "clipPath", "mask"})
_DRAWN = SHAPES | _GROUPS | GRADIENTS | {"stop"}
_DESCRIBING = frozenset({"title", "desc", "metadata"})
_TEXT = frozenset({"text", "tspan", "textPath", "tref", "font", "font-face"})
_MOVING = frozenset({"animate", "animateTransform", "animateMotion", "animateColor", "set"})
_ACTING = frozenset({"script", "foreignObject", "iframe", "object", "embed", "handler", "listener"})

_GEOMETRY = frozenset(
    {
        *(
            "id",
            "transform",
            "d",
            "points",
            "x",
            "y",
            "width",
            "height",
            "rx",
            "ry",
            "cx",
            "cy",
            "r",
            "x1",
        ),
        *("y1", "x2", "y2", "fx", "fy", "fr", "offset", "gradientUnits", "gradientTransform"),
        *(
            "spreadMethod",
            "clipPathUnits",
            "maskUnits",
            "maskContentUnits",
            "viewBox",
            "preserveAspectRatio",
        ),
    }
)
_PAINTED_BY = frozenset(
    {
        *("fill", "fill-opacity", "fill-rule", "stroke", "stroke-opacity", "stroke-width"),
        *("stroke-linecap", "stroke-linejoin", "stroke-miterlimit", "stroke-dasharray"),
        *("stroke-dashoffset", "color", "opacity", "clip-path"),
        *("clip-rule", "mask", "stop-color", "stop-opacity", "display", "visibility"),
    }
)
_CHANGING_THE_LOOK = {
    "filter": "none",
    "mix-blend-mode": "normal",
    "isolation": "auto",
    "marker": "none",
    "marker-start": "none",
    "marker-mid": "none",
    "marker-end": "none",
    "vector-effect": "none",
    "paint-order": "normal",
    "mask-type": "luminance",
    "transform-origin": "0 0",
}
"""Properties that are taken only where they say what goes without saying (SVG 2, CSS masking)."""
_STYLED_ONLY_AS_ATTRIBUTE = frozenset({"transform", "d", "x", "y", "width", "height", "rx", "ry"})
_REFERRING = frozenset({"fill", "stroke", "clip-path", "mask"})
_INSIDE = re.compile(r"""url\(\s*(["']?)#([\w.:-]+)\1\s*\)""")
_CALLS = re.compile(r"url\s*\(|image\s*\(|image-set\s*\(|src\s*\(|expression\s*\(", re.IGNORECASE)


class _TooMuch(Exception):
    """The file has more elements, or nests them deeper, than is read."""


class _BoundedBuilder(TreeBuilder):
    """Builds the tree until it is too large or too deep; comments are left out."""

    def __init__(self) -> None:
        super().__init__()
        self._depth = self._count = 0

    def start(self, tag: str, attrs: Mapping[str, str], /) -> Element:
        """Begin an element."""
        self._depth += 1
        self._count += 1
        if self._depth > MOST_DEPTH:
            raise _TooMuch(f"elements nested more than {MOST_DEPTH} deep")
        if self._count > MOST_ELEMENTS:
            raise _TooMuch(f"more than {MOST_ELEMENTS:,} elements")
        return super().start(tag, dict(attrs))

    def end(self, tag: str, /) -> Element:
        """End an element."""
        self._depth -= 1
        return super().end(tag)


class _Parser(DefusedXMLParser):
    """No entities; a document type may be named, but not be written out in the file.

    Many drawing programs name the document type of SVG 1.1. It is never fetched.
    """

    def defused_start_doctype_decl(
        self, name: str, sysid: str | None, pubid: str | None, has_internal_subset: int
    ) -> None:
        """Refuse only a document type with declarations of its own."""
        if has_internal_subset:
            raise DTDForbidden(name, sysid, pubid)


def read_svg(data: bytes) -> Element:
    """The drawing as a tree whose tags and attributes are plain names, each looked at.

    Styles are worked out into attributes. The root is ``svg``. Raises ``BadInput``.
    """
    if len(data) > MOST_BYTES:
        _refuse_complex(f"has {len(data):,} bytes; the limit is {MOST_BYTES:,}")
    if b"<?xml-stylesheet" in data:
        _refuse_reference("a style sheet in another file")
    root = _parsed(data)
    if root.tag != f"{{{SVG_NAMESPACE}}}svg":
        refuse(
            "picture-svg-element",
            f"The outermost element is {_shown(root.tag)}; it has to be svg of the namespace "
            f"{SVG_NAMESPACE}. Export the drawing as SVG again.",
        )
    sheet = StyleSheet(_style_texts(root))
    cleaned = _cleaned(root, sheet)
    if cleaned is None:  # pragma: no cover  # the root is an svg, which is never left out
        raise AssertionError
    return cleaned


def _parsed(data: bytes) -> Element:
    parser = _Parser(target=_BoundedBuilder(), forbid_dtd=True)
    try:
        parser.feed(data)
        root = parser.close()
    except _TooMuch as found:
        _refuse_complex(f"has {found}")
    except DefusedXmlException:
        refuse(
            "picture-svg-entities",
            "The file declares entities or a document type of its own; a drawing needs none. "
            "Export it as plain SVG without them.",
        )
    except (ParseError, ValueError, LookupError) as broken:
        _refuse_broken(data, broken)
    return root


def _refuse_broken(data: bytes, broken: Exception) -> NoReturn:
    if not re.search(rb"(</([\w.-]+:)?svg\s*>|/>)(\s|<!--.*?-->)*$", data[-4096:], re.DOTALL):
        refuse(
            "picture-truncated",
            f"The file breaks off after {len(data):,} bytes, before its svg element ends. "
            "Send the whole file again.",
        )
    line = getattr(broken, "position", (0, 0))[0]
    refuse(
        "picture-unreadable",
        f"The file begins like SVG, but is not well-formed XML (line {line}). "
        "Open it in a drawing program and export it again.",
    )


def _shown(name: object) -> str:
    """A name from the file, short and without its namespace, to be shown to the sender."""
    return repr(str(name).rpartition("}")[2][:40])


def _style_texts(root: Element) -> list[str]:
    found = root.iter(f"{{{SVG_NAMESPACE}}}style")
    return ["".join(style.itertext()) for style in found]


def _cleaned(element: Element, sheet: StyleSheet) -> Element | None:
    """The element with those children and attributes that are drawn; None if it is left out."""
    space, _, name = str(element.tag).rpartition("}")
    _check_acting(element, name)
    if space != "{" + SVG_NAMESPACE or name in _DESCRIBING or name == "style":
        for inner in element.iter():
            _check_acting(inner, str(inner.tag).rpartition("}")[2])
        return None
    if name not in _DRAWN:
        _refuse_element(name)
    kept = Element(name, _attributes(element, name, sheet))
    for child in element:
        inside = _cleaned(child, sheet)
        if inside is None:
            continue
        if inside.tag == "svg":
            _refuse_element("svg inside svg")
        kept.append(inside)
    return kept


def _check_acting(element: Element, name: str) -> None:
    acting = name if name in _ACTING or name.lower() == "script" else None
    for attribute, value in element.attrib.items():
        if attribute.rpartition("}")[2].lower().startswith("on"):
            acting = attribute
        if "javascript:" in value.lower():
            acting = f"{attribute} with a script"
    if acting is not None:
        refuse(
            "picture-svg-script",
            f"The drawing holds {_shown(acting)}, which could act by itself; artwork stands still. "
            "Export it as plain SVG without scripts.",
        )


def _refuse_element(name: str) -> NoReturn:
    if name in _TEXT:
        refuse(
            "picture-svg-text",
            "The drawing holds text, which looks different with every computer's fonts. "
            "Turn text into outlines (paths) and export it again.",
        )
    if name in _MOVING:
        refuse(
            "picture-animated",
            f"The drawing moves (element {_shown(name)}); artwork stands still. "
            "Export one moment of it.",
        )
    if name in {"image", "feImage"}:
        refuse(
            "picture-svg-image",
            "The drawing holds a pixel picture; only shapes are read from SVG. "
            "Export the whole artwork as PNG instead.",
        )
    refuse(
        "picture-svg-element",
        f"The drawing holds {_shown(name)}, which is not read; paths, basic shapes, groups, "
        "gradients, clips, masks and copies (use) are. Expand it into shapes, or export the "
        "artwork as PNG.",
    )


def _attributes(element: Element, name: str, sheet: StyleSheet) -> dict[str, str]:
    """Those attributes that are drawn, with the style's last word worked in (CSS cascade)."""
    own = {key: value.strip() for key, value in element.attrib.items() if key[0] != "{"}
    painted = {key: value for key, value in own.items() if _is_drawn_property(key, value)}
    styled = sheet.properties(name, own.get("id"), own.get("class", "").split())
    styled |= declarations(own.get("style", ""))
    for key, value in styled.items():
        if key in _STYLED_ONLY_AS_ATTRIBUTE:
            refuse(
                "picture-svg-style",
                f"A style sets {_shown(key)}; it is read only as an attribute. Export the drawing "
                "with presentation attributes.",
            )
        if _is_drawn_property(key, value):
            painted[key] = value
    kept = {key: own[key] for key in own.keys() & _GEOMETRY} | painted
    for key in sorted(kept):
        kept[key] = _checked_value(key, kept[key])
    if name == "use" or name in GRADIENTS:
        target = _reference(element)
        if target is not None:
            kept["href"] = target
    return kept


def _is_drawn_property(name: str, value: str) -> bool:
    """Whether it is drawn; refuses what would look otherwise if it were left out."""
    usual = _CHANGING_THE_LOOK.get(name)
    if usual is not None and value.lower() not in {usual, "initial", "none", "auto"}:
        refuse(
            "picture-svg-element",
            f"The drawing uses the effect {_shown(name)}, which is not read. Expand it into "
            "shapes, or export the artwork as PNG.",
        )
    if name not in _PAINTED_BY and _CALLS.search(_INSIDE.sub("", value)):
        _refuse_reference(f"one in {_shown(name)}")
    return name in _PAINTED_BY


def _checked_value(name: str, value: str) -> str:
    """The value, its references written one way; only such as lie inside the file."""
    inside = _INSIDE.search(value) if name in _REFERRING else None
    rest = value if inside is None else value.replace(inside.group(0), "", 1)
    if _CALLS.search(rest):
        _refuse_reference(f"one in {_shown(name)}")
    if "var(" in value or "\\" in value:
        refuse(
            "picture-svg-style",
            f"The value of {_shown(name)} is written in a way that is not read (variables, "
            "escapes). Export the drawing with plain values.",
        )
    return value if inside is None else f"url(#{inside.group(2)}){rest}"


def _reference(element: Element) -> str | None:
    """The ``#id`` that a copy or gradient refers to."""
    values = [element.get("href"), element.get("{http://www.w3.org/1999/xlink}href")]
    value = next((value.strip() for value in values if value is not None), None)
    if value is None:
        return None
    if not re.fullmatch(r"#[\w.:-]+", value):
        _refuse_reference("one in 'href'")
    return value


def _refuse_reference(what: str) -> NoReturn:
    refuse(
        "picture-svg-reference",
        f"The drawing refers to something outside itself ({what}); nothing is fetched. "
        "Embed everything as shapes and export it again.",
    )


def _refuse_complex(what: str) -> NoReturn:
    refuse(
        "picture-svg-too-complex",
        f"The drawing {what}. Simplify its paths, or export the artwork as PNG.",
    )
