"""How an uploaded picture is refused."""

from __future__ import annotations

from typing import NoReturn

from service.domain.errors import BadInput, FieldFault

PICTURE_REFUSED = "picture-refused"
"""Code of the refusal; the code of its one fault says what is wrong."""


def refuse(code: str, detail: str) -> NoReturn:
    """Raise the refusal with one fault of the field ``file``, without a decoder's error behind."""
    fault = FieldFault(detail, parameter="file", code=code)
    raise BadInput(PICTURE_REFUSED, detail, faults=[fault]) from None


def refuse_transparent() -> NoReturn:
    """Refuse a picture in which there is nothing to see."""
    refuse(
        "picture-transparent",
        "Every pixel of the picture is fully transparent (alpha 0 of 255), so there is nothing "
        "to print. Send artwork with at least one pixel of higher alpha.",
    )
