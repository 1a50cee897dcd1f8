"""Methods: ordered chains of operations that put artwork on a blank. Data, never code."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Self

from pydantic import Field, StringConstraints, model_validator

from service.domain.media import PressWindow
from service.domain.values import Frozen, Minutes, Slug, Words


class OperationKind(StrEnum):
    """What hands or machines do in one step."""

    PRINT = "print"
    DRY = "dry"
    CUT = "cut"
    WEED = "weed"
    PRE_PRESS = "pre_press"
    TACK = "tack"
    PRESS = "press"
    PEEL = "peel"
    CHECK = "check"
    PACK = "pack"


class Cover(StrEnum):
    """What lies between the platen and the work."""

    NONE = "none"
    FRESH_PAPER = "fresh_paper"
    NONSTICK_SHEET = "nonstick_sheet"


HEATED = frozenset({OperationKind.PRE_PRESS, OperationKind.TACK, OperationKind.PRESS})
"""Operations that close the press: each stroke is a strike."""

ON_MEDIUM = frozenset(
    {OperationKind.PRINT, OperationKind.CUT, OperationKind.WEED, OperationKind.TACK,
     OperationKind.PRESS, OperationKind.PEEL}
)  # fmt: skip
"""Operations that must name the medium they work on."""


class Operation(Frozen):
    """One step of a method.

    ``mirrored`` is stated for ``print`` and ``cut`` and checked against the medium. ``window``
    replaces the medium's own press window (a tack that only holds; a pre-press that drives out
    moisture). ``wait_min`` is unattended time after the step, such as drying. ``setup_min`` is
    once a job, ``each_min`` once a piece.
    """

    kind: OperationKind
    station: Slug
    machine: Slug | None = None
    medium: Slug | None = None
    mirrored: bool | None = None
    window: PressWindow | None = None
    cover: Cover = Cover.NONE
    setup_min: Minutes
    each_min: Minutes
    wait_min: Annotated[int, Field(ge=0, le=10_080)] = 0
    note: Annotated[str, StringConstraints(max_length=300)] = ""

    @model_validator(mode="after")
    def _complete(self) -> Self:
        if self.kind in ON_MEDIUM and self.medium is None:
            raise ValueError(f"operation '{self.kind}' must name the medium it works on")
        if self.kind in (OperationKind.PRINT, OperationKind.CUT) and self.mirrored is None:
            raise ValueError(f"operation '{self.kind}' must state mirrored: true or false")
        if self.kind not in (OperationKind.PRINT, OperationKind.CUT) and self.mirrored is not None:
            raise ValueError(f"operation '{self.kind}' has no mirrored; only print and cut have")
        if self.kind is OperationKind.PRE_PRESS and self.window is None:
            raise ValueError("operation 'pre_press' must give its window")
        if self.window is not None and self.kind not in HEATED:
            raise ValueError(f"operation '{self.kind}' does not press, so it takes no window")
        needs_machine = self.kind in HEATED or self.kind in (
            OperationKind.PRINT,
            OperationKind.CUT,
        )
        if needs_machine and self.machine is None:
            raise ValueError(f"operation '{self.kind}' must name its machine")
        return self


class Method(Frozen):
    """An ordered chain of operations. ``feel`` is what a customer should expect to touch."""

    id: Slug
    name: Words
    feel: Words
    operations: Annotated[tuple[Operation, ...], Field(min_length=2, max_length=40)]
