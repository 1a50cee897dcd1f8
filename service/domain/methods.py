"""Methods: ordered chains of operations that put artwork on a blank. Data, never code."""

from __future__ import annotations

from decimal import Decimal
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


_MEASURED_MINUTES = {
    "cut_m_min": OperationKind.CUT,
    "print_m2_min": OperationKind.PRINT,
    "weed_share": OperationKind.WEED,
}
"""Minutes that hang on what was measured of the artwork, and the operation that takes them."""


class Operation(Frozen):
    """One step of a method.

    ``mirrored`` is stated for ``print`` and ``cut`` and checked against the medium. ``window``
    replaces the medium's own press window (a tack that only holds; a pre-press that drives out
    moisture). ``wait_min`` is unattended time after the step, such as drying.

    ``setup_min`` is once a job, ``run_setup_min`` once a run, however many jobs it takes, and
    ``each_min`` once a piece, all with a person at it. On top of ``each_min`` a piece takes
    ``cut_m_min`` for each metre of cut line and ``print_m2_min`` for each square metre printed,
    in which the machine works alone, and ``weed_share`` of the minutes that its weeding is
    estimated at from its outline.
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
    run_setup_min: Minutes = Decimal(0)
    cut_m_min: Minutes = Decimal(0)
    print_m2_min: Minutes = Decimal(0)
    weed_share: Annotated[Decimal, Field(ge=0, le=10, max_digits=6, decimal_places=4)] = Decimal(0)
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
        for name, kind in _MEASURED_MINUTES.items():
            if getattr(self, name) and self.kind is not kind:
                raise ValueError(f"operation '{self.kind}' has no {name}; only {kind} has")
        needs_machine = self.kind in HEATED or self.kind in (
            OperationKind.PRINT,
            OperationKind.CUT,
        )
        if needs_machine and self.machine is None:
            raise ValueError(f"operation '{self.kind}' must name its machine")
        return self


class Method(Frozen):
    """An ordered chain of operations. ``feel`` is what a customer should expect to touch.

    ``spoilage_share`` is what share of pieces it is expected to spoil before any was seen; the
    price book's where it is None.
    """

    id: Slug
    name: Words
    feel: Words
    operations: Annotated[tuple[Operation, ...], Field(min_length=2, max_length=40)]
    spoilage_share: Annotated[Decimal, Field(ge=0, lt=Decimal("0.5"))] | None = None
