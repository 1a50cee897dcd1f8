"""Operations on stock: how it stands, its ledger, and deliveries on their way."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from typing import Annotated

from fastapi import Query
from pydantic import BaseModel
from starlette.requests import Request
from starlette.responses import Response

from service.domain.stock_items import StockKind
from service.domain.values import Slug
from service.intake.cursors import Cursor, read_cursor, write_cursor
from service.intake.idempotency import Outcome, StoreSession
from service.intake.requests import Identifier
from service.intake.stock import list_moves, list_stock, move_stock
from service.intake.stock_answers import (
    IncomingAnswer,
    IncomingPage,
    StockMoved,
    StockMovesPage,
    StockPage,
)
from service.intake.stock_incoming import call_off, expect_delivery, list_incoming
from service.intake.stock_requests import CallOffRequest, IncomingRequest, StockMoveRequest
from service.web.application import new_router
from service.web.openapi import problems
from service.web.paging import page_answer
from service.web.parts import RoomsPart, StaffCaller, do, once_each, request_key
from service.web.request_mark import current_mark

router = new_router("stock", "/v1")

_KEY_CODES = ("idempotency-key-malformed", "idempotency-key-reused")

Limit = Annotated[int, Query(ge=1, le=100)]
CursorText = Annotated[str | None, Query(max_length=200)]


class IncomingState(StrEnum):
    """Whether a delivery is awaited, and if not why."""

    EXPECTED = "expected"
    RECEIVED = "received"
    CALLED_OFF = "called_off"


@router.get(
    "/stock",
    summary="How stock stands, and what to reorder",
    response_model=StockPage,
    responses=problems("cursor-refused"),
)
async def show(
    request: Request,
    rooms: RoomsPart,
    _: StaffCaller,
    kind: Annotated[StockKind | None, Query(description="Only blanks, media or ink.")] = None,
    below_reorder: Annotated[
        bool | None, Query(description="true for what is to be ordered now.")
    ] = None,
    limit: Limit = 50,
    cursor: CursorText = None,
) -> Response:
    """On hand, held by open tickets, free and on its way; use, cover and what to order.

    At or below the reorder point, free and on its way together, order up to `reorder_to`. Where the
    catalogue states neither, the point is the use of a working day over the supplier's lead days
    and the shop's safety days, and the level that over the days an order is to last besides.
    """
    once_each(request)
    asked = {"kind": kind, "below_reorder": "true" if below_reorder else None}
    bound_to = f"stock:{kind}:{bool(below_reorder)}"
    start = _start(cursor, bound_to)
    found = await rooms.in_store(
        lambda: list_stock(
            rooms.services, kind=kind, below_reorder=bool(below_reorder), limit=limit, cursor=start
        )
    )
    return _page(found.page, "/v1/stock", asked, limit, found.following, bound_to)


@router.post(
    "/stock/moves",
    status_code=201,
    summary="Receive, count or waste stock",
    response_model=StockMoved,
    responses=problems(*_KEY_CODES, "fields-refused", "stock-short", "stock-delivery-over"),
)
async def move(
    request: Request, rooms: RoomsPart, caller: StaffCaller, body: StockMoveRequest
) -> Response:
    """Book one thing; answers with what is on hand after it.

    A count says how much lies there: its move is the difference, also none. No more can be thrown
    away than is on hand. Tickets and runs book by themselves. Orders that lack it now are planned
    anew, and `order.late` is told of those that pass their promise.
    """
    key = request_key(request, caller, body.model_dump(mode="json"))

    def act(session: StoreSession) -> Outcome:
        trace_id = current_mark().trace_id
        return Outcome.of(201, move_stock(rooms.services, session, body, trace_id=trace_id))

    return await do(rooms, request, key, act)


@router.get(
    "/stock/moves",
    summary="List stock moves, the newest first",
    response_model=StockMovesPage,
    responses=problems("cursor-refused"),
)
async def moves(
    request: Request,
    rooms: RoomsPart,
    _: StaffCaller,
    kind: Annotated[StockKind | None, Query(description="Only blanks, media or ink.")] = None,
    item: Annotated[Slug | None, Query(description="Only of this item.")] = None,
    limit: Limit = 50,
    cursor: CursorText = None,
) -> Response:
    """The ledger: what was booked, by whom, for which ticket or run. Nothing is struck out."""
    once_each(request)
    bound_to = f"stock-moves:{kind}:{item}"
    start = _start(cursor, bound_to)
    found = await rooms.in_store(
        lambda: list_moves(rooms.services, kind=kind, item=item, limit=limit, cursor=start)
    )
    asked = {"kind": kind, "item": item}
    return _page(found.page, "/v1/stock/moves", asked, limit, found.following, bound_to)


@router.post(
    "/stock/incoming",
    status_code=201,
    summary="Expect a delivery",
    response_model=IncomingAnswer,
    responses=problems(*_KEY_CODES, "fields-refused"),
)
async def expect(
    request: Request, rooms: RoomsPart, caller: StaffCaller, body: IncomingRequest
) -> Response:
    """Enter what was ordered and the day it is expected. Receiving it with its id closes it."""
    key = request_key(request, caller, body.model_dump(mode="json"))

    def act(session: StoreSession) -> Outcome:
        return Outcome.of(201, expect_delivery(rooms.services, session, body))

    return await do(rooms, request, key, act)


@router.get(
    "/stock/incoming",
    summary="List deliveries, the earliest first",
    response_model=IncomingPage,
    responses=problems("cursor-refused"),
)
async def incoming(
    request: Request,
    rooms: RoomsPart,
    _: StaffCaller,
    state: IncomingState = IncomingState.EXPECTED,
    limit: Limit = 50,
    cursor: CursorText = None,
) -> Response:
    """Deliveries that are expected, or those that are over; follow `next` for more."""
    once_each(request)
    bound_to = f"stock-incoming:{state}"
    start = _start(cursor, bound_to)
    found = await rooms.in_store(
        lambda: list_incoming(rooms.services, state=state, limit=limit, cursor=start)
    )
    asked = {"state": str(state)}
    return _page(found.page, "/v1/stock/incoming", asked, limit, found.following, bound_to)


@router.post(
    "/stock/incoming/{incoming_id}/call-off",
    status_code=201,
    summary="Call a delivery off",
    response_model=IncomingAnswer,
    responses=problems(
        *_KEY_CODES, "stock-delivery-not-found", "stock-delivery-over", "fields-refused"
    ),
)
async def call_delivery_off(
    request: Request,
    rooms: RoomsPart,
    caller: StaffCaller,
    incoming_id: Identifier,
    body: CallOffRequest,
) -> Response:
    """It does not come, or comes on another day: enter that anew, and first.

    Orders that waited for it and are not covered otherwise are planned anew, and `order.late` is
    told of those that pass their promise.
    """
    key = request_key(request, caller, body.model_dump(mode="json"))

    def act(session: StoreSession) -> Outcome:
        trace_id = current_mark().trace_id
        return Outcome.of(
            201, call_off(rooms.services, session, incoming_id, body, trace_id=trace_id)
        )

    return await do(rooms, request, key, act)


def _start(cursor: str | None, bound_to: str) -> Cursor | None:
    return read_cursor(cursor, bound_to) if cursor is not None else None


def _page(
    page: BaseModel,
    path: str,
    asked: Mapping[str, str | None],
    limit: int,
    following: Cursor | None,
    bound_to: str,
) -> Response:
    """The page, with the address of the next where there is one."""
    named = [(name, value) for name, value in asked.items() if value is not None]
    cursor = None if following is None else write_cursor(following, bound_to)
    return page_answer(page, path, named, limit, cursor)
