"""Which picture format a caller takes: the Accept header, RFC 9110 section 12.5.1."""

from __future__ import annotations

from collections.abc import Sequence

from service.render.proof import PNG, WEBP

_RANGES = {
    WEBP: ("image/webp", "image/*", "*/*"),
    PNG: ("image/png", "image/*", "*/*"),
}
"""Media ranges that cover a format, the most specific first."""


def picture_type(accept: Sequence[str]) -> str:
    """PNG, unless WebP is preferred: a higher weight, or the same and WebP named but PNG not.

    PNG is also sent to a caller that takes neither; section 12.4.1 leaves that open.
    """
    weights = _weights(accept)
    (webp, webp_place), (png, png_place) = (_weight(weights, one) for one in (WEBP, PNG))
    prefers_webp = webp > png or (webp == png and webp_place < png_place)
    return WEBP if prefers_webp and webp > 0 else PNG


def _weights(accept: Sequence[str]) -> dict[str, float]:
    """Weights by media range; one that cannot be read counts as 1."""
    found: dict[str, float] = {}
    for entry in ",".join(accept).split(","):
        name, *parameters = (part.strip().lower() for part in entry.split(";"))
        weight = 1.0
        for parameter in parameters:
            key, _, value = parameter.partition("=")
            if key.strip() == "q":
                weight = _number(value.strip())
        if name:
            found[name] = weight
    return found or {"*/*": 1.0}


def _number(text: str) -> float:
    try:
        weight = float(text)
    except ValueError:
        return 1.0
    return weight if 0 <= weight <= 1 else 1.0


def _weight(weights: dict[str, float], media_type: str) -> tuple[float, int]:
    """The weight of a format by the most specific range that covers it, and which that was."""
    for place, name in enumerate(_RANGES[media_type]):
        if name in weights:
            return weights[name], place
    return 0.0, len(_RANGES[media_type])
