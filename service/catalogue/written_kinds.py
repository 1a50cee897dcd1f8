"""Values must be written as the kind they are taken for.

Validation is lenient so that one set of values serves files and stored versions: it would take
``true`` for the number 1, ``720`` for a time of day and ``"5"`` for 5. A file is held to more; only
exact decimals may stand in quotes, as stored versions write them.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, time
from decimal import Decimal

from pydantic import BaseModel

from service.catalogue.error_words import shown
from service.catalogue.faults import DocumentPath, PathFaults


def written_kind_faults(written: object, taken: object, path: DocumentPath = ()) -> PathFaults:
    """Faults where ``written``, plain data, is of another kind than the value it was taken for."""
    if isinstance(taken, BaseModel):
        yield from _of_model(written, taken, path)
    elif isinstance(taken, Mapping) and isinstance(written, Mapping):
        by_name = {str(name): inner for name, inner in taken.items()}
        for name, inner in written.items():
            if name in by_name:
                yield from written_kind_faults(inner, by_name[name], (*path, name))
            else:
                yield (*path, name), f"must be named as in '{next(iter(by_name))}'"
    elif isinstance(taken, tuple) and isinstance(written, list):
        for index, inner in enumerate(written):
            yield from written_kind_faults(inner, taken[index], (*path, index))
    elif isinstance(taken, frozenset) and isinstance(written, list):
        for index, inner in enumerate(written):
            yield from _of_scalar(inner, next(iter(taken)), (*path, index))
    else:
        yield from _of_scalar(written, taken, path)


def _of_model(written: object, taken: BaseModel, path: DocumentPath) -> PathFaults:
    if isinstance(written, Mapping):
        for name, inner in written.items():
            yield from written_kind_faults(inner, getattr(taken, name), (*path, name))
    else:
        # A value with one field may be written as that field's own list.
        (name,) = type(taken).model_fields
        yield from written_kind_faults(written, getattr(taken, name), path)


def _of_scalar(written: object, taken: object, path: DocumentPath) -> PathFaults:
    if isinstance(taken, bool) and not isinstance(written, bool):
        yield path, f"must be true or false, not {shown(written)}"
    elif isinstance(taken, int | float | Decimal) and not _as_number(taken, written):
        yield path, f"must be a number written without quotes, not {shown(written)}"
    elif isinstance(taken, str | date | time) and not isinstance(written, str):
        yield path, f"must be text in quotes, not {shown(written)}"


def _as_number(taken: object, written: object) -> bool:
    if isinstance(taken, bool):
        return True
    if isinstance(taken, Decimal) and isinstance(written, str):
        return "_" not in written
    return isinstance(written, int | Decimal) and not isinstance(written, bool)
