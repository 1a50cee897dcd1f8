"""Kinds of problems with stock; the whole table is :data:`service.web.problem_kinds.KINDS`."""

from __future__ import annotations

from typing import Final

from service.web.problem_kind import ProblemKind

STOCK_KINDS: Final = (
    ProblemKind(
        "stock-delivery-not-found",
        404,
        "There is no such delivery",
        "No delivery of stock has that id.",
        "List deliveries with GET /v1/stock/incoming and use an id from there.",
    ),
    ProblemKind(
        "stock-short",
        409,
        "There is not that much on hand",
        "No more can be thrown away than lies there; 'on_hand' says how much that is, in 'unit'.",
        "Throw away less, or count what lies there and book the count.",
    ),
    ProblemKind(
        "stock-delivery-over",
        409,
        "The delivery is not expected any more",
        "It was received or called off before; 'state' says which. Nothing was booked.",
        "List what is expected with GET /v1/stock/incoming, or book without naming a delivery.",
    ),
    ProblemKind(
        "stock-changed",
        409,
        "Stock changed since it was looked at",
        "Something else was booked on the same thing; the detail says what and by whom.",
        "Look again, then decide. Nothing was booked.",
    ),
)
