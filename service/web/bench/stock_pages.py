"""Pages of stock: how it stands, and one thing with its deliveries, its moves and its forms.

Forms carry the last move that their page showed, so that nobody counts or throws away what another
has booked meanwhile, and no form is taken twice. Rolls are told and asked for in metres.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal, InvalidOperation
from http import HTTPStatus
from typing import Any, Final
from urllib.parse import urlencode

from pydantic import ValidationError
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from service.domain.errors import BadInput, Conflict, NotFound
from service.domain.stock import MoveReason
from service.domain.stock_items import SaidUnit, StockKind
from service.intake.cursors import read_cursor, write_cursor
from service.intake.idempotency import StoreSession
from service.intake.stock import find_stock, list_moves, list_stock, move_stock
from service.intake.stock_answers import StockThing
from service.intake.stock_incoming import call_off, expect_delivery
from service.intake.stock_requests import (
    CallOffRequest,
    IncomingRequest,
    StockAct,
    StockMoveRequest,
)
from service.web.bench.refused import Refused, version_seen
from service.web.bench.rendering import bench_page
from service.web.bench.routing import bench_router, read_form
from service.web.bench.session import Visit, VisitPart, check_form, root_of
from service.web.bench.shop_time import shop_zone
from service.web.parts import Rooms, RoomsPart
from service.web.request_mark import current_mark

router = bench_router()

PAGE_THINGS: Final = 40
PAGE_MOVES: Final = 20
_MM_PER_M: Final = 1_000

KIND_WORDS: Final[Mapping[StockKind, str]] = {
    StockKind.BLANK: "blanks",
    StockKind.MEDIUM: "films and papers",
    StockKind.INK: "ink",
}
ACT_WORDS: Final[Mapping[StockAct, str]] = {
    StockAct.COUNT: "Counted: so much is there",
    StockAct.RECEIVE: "Received: so much came",
    StockAct.WASTE: "Wasted: so much is thrown away",
}
REASON_WORDS: Final[Mapping[MoveReason, str]] = {
    MoveReason.RECEIVE: "received",
    MoveReason.COUNT: "counted",
    MoveReason.WASTE: "wasted",
    MoveReason.TICKET: "taken for a ticket",
    MoveReason.TICKET_BACK: "given back by a ticket",
    MoveReason.RUN: "taken for a run",
    MoveReason.RUN_DISSOLVED: "given back by a run",
}
_SAID_BY_FIELD: Final[Mapping[str, str]] = {
    "act": "Say what was done: counted, received or wasted.",
    "quantity": "Give how much as a number from 0, with a point before at most three decimals.",
    "day": "A day is written as year, month and day: 2026-03-09.",
    "note": "A note may have 4,000 characters at most.",
    "incoming_id": "Choose a delivery of the list.",
}


def amount_words(quantity: float, unit: str) -> str:
    """``24 pieces``, ``1 sheet``, ``1.25 m``: what is in mm elsewhere is told in metres here."""
    if unit == SaidUnit.MM:
        return f"{_plain(quantity / _MM_PER_M)} m"
    one = abs(quantity) == 1
    return f"{_plain(quantity)} {unit.removesuffix('s') if one else unit}"


def _plain(quantity: float) -> str:
    text = f"{quantity:,.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def shown_unit(unit: str) -> str:
    """The unit that a form asks in."""
    return "m" if unit == SaidUnit.MM else unit


def address_of(thing: StockThing) -> str:
    """The query that names a thing."""
    named = {
        "kind": thing.kind,
        "item": thing.item,
        "colour": thing.colour,
        "size": thing.size,
    }
    return urlencode({name: value for name, value in named.items() if value})


@router.get("/stock")
async def stock_page(request: Request, rooms: RoomsPart, visit: VisitPart) -> Response:
    """How everything stands, or only what is to be ordered."""
    services, asked = rooms.services, request.query_params
    named = asked.get("kind", "")
    kind = StockKind(named) if named in set(StockKind) else None
    below = asked.get("below") == "on"
    bound_to = f"bench-stock:{kind}:{below}"
    cursor = asked.get("cursor")
    start = read_cursor(cursor, bound_to) if cursor else None
    found = await rooms.in_store(
        lambda: list_stock(
            services, kind=kind, below_reorder=below, limit=PAGE_THINGS, cursor=start
        )
    )
    filtered = {"kind": kind, "below": "on" if below else None}
    return bench_page(
        request,
        "stock.html",
        visit,
        title="Stock",
        page=found.page,
        kind=kind,
        kinds=KIND_WORDS,
        below=below,
        query=urlencode({name: value for name, value in filtered.items() if value}),
        following=write_cursor(found.following, bound_to) if found.following else "",
        start=start is None,
        amount=amount_words,
        address=address_of,
    )


@router.get("/stock/item")
async def item_page(request: Request, rooms: RoomsPart, visit: VisitPart) -> Response:
    """One thing: how it stands, what is on its way, what was booked, and forms to book more."""
    return await _item_page(request, rooms, visit, request.query_params)


async def _item_page(
    request: Request,
    rooms: Rooms,
    visit: Visit,
    named: Mapping[str, str],
    refused: Refused | None = None,
    refused_form: str = "",
) -> Response:
    services = rooms.services
    kind = named.get("kind", "")
    if kind not in set(StockKind):
        raise NotFound("not-found", "The shop has no such thing in stock.")
    names = [named.get(name, "") for name in ("item", "colour", "size")]
    item, thing = await rooms.in_store(lambda: find_stock(services, StockKind(kind), *names))
    moves = await rooms.in_store(lambda: list_moves(services, only=item, limit=PAGE_MOVES))
    booked = moves.page.moves
    return bench_page(
        request,
        "stock_item.html",
        visit,
        status=refused.status if refused else HTTPStatus.OK,
        title=", ".join(part for part in (thing.name, thing.colour_name, thing.size) if part),
        thing=thing,
        moves=booked,
        last_move=booked[0].id if booked else 0,
        acts=ACT_WORDS,
        reasons=REASON_WORDS,
        zone=shop_zone(services),
        fields=refused.fields if refused else {},
        refused=refused,
        refused_form=refused_form,
        amount=amount_words,
        unit=shown_unit(thing.unit),
        address=address_of,
    )


@router.get("/stock/moves")
@router.get("/stock/incoming")
@router.get("/stock/call-off")
async def form_address(request: Request) -> Response:
    """Where a form was refused, its page stands at this address; loaded anew it is the list."""
    return RedirectResponse(f"{root_of(request)}/bench/stock", HTTPStatus.SEE_OTHER)


@router.post("/stock/moves")
async def book(request: Request, rooms: RoomsPart, visit: VisitPart) -> Response:
    """Receive, count or waste."""

    def read(fields: Mapping[str, str]) -> Callable[[StoreSession], object]:
        given = {"act": fields.get("act"), "incoming_id": fields.get("incoming_id") or None}
        said = {**_amount(fields), **_said_by(fields, visit), **given}
        wish = StockMoveRequest.model_validate(said)
        last = version_seen(fields, "last_move")
        seen = -1 if last is None else last
        trace_id = current_mark().trace_id
        return lambda session: move_stock(
            rooms.services, session, wish, last_seen=seen, trace_id=trace_id
        )

    return await _change(request, rooms, visit, "moves", read)


@router.post("/stock/incoming")
async def expect(request: Request, rooms: RoomsPart, visit: VisitPart) -> Response:
    """Enter an expected delivery."""

    def read(fields: Mapping[str, str]) -> Callable[[StoreSession], object]:
        given = {"day": fields.get("day") or None}
        said = {**_amount(fields), **_said_by(fields, visit), **given}
        wish = IncomingRequest.model_validate(said)
        return lambda session: expect_delivery(rooms.services, session, wish)

    return await _change(request, rooms, visit, "incoming", read)


@router.post("/stock/call-off")
async def call_delivery_off(request: Request, rooms: RoomsPart, visit: VisitPart) -> Response:
    """Call a delivery off."""

    def read(fields: Mapping[str, str]) -> Callable[[StoreSession], object]:
        wish = CallOffRequest.model_validate(_said_by(fields, visit))
        delivery = fields.get("incoming_id", "")
        trace_id = current_mark().trace_id
        return lambda session: call_off(rooms.services, session, delivery, wish, trace_id=trace_id)

    return await _change(request, rooms, visit, "call-off", read)


def _amount(fields: Mapping[str, str]) -> dict[str, Any]:
    named = {name: fields.get(name, "") for name in ("kind", "item", "colour", "size", "unit")}
    return {**named, "quantity": _quantity(fields.get("quantity", ""), named["unit"])}


def _quantity(text: str, unit: str) -> Decimal | None:
    """The number as the form asks for it, in the unit of requests."""
    try:
        quantity = Decimal(text.strip())
    except InvalidOperation:
        return None
    if not quantity.is_finite():
        return None
    return quantity * _MM_PER_M if unit == SaidUnit.MM else quantity


def _said_by(fields: Mapping[str, str], visit: Visit) -> dict[str, str]:
    return {"who": visit.who, "note": fields.get("note", "")}


async def _change(
    request: Request,
    rooms: Rooms,
    visit: Visit,
    form: str,
    read: Callable[[Mapping[str, str]], Callable[[StoreSession], object]],
) -> Response:
    """Do what a form asks for, and lead back to the thing; or show it again and say why not."""
    fields = await read_form(request)
    check_form(request, visit, fields)
    try:
        work = read(fields)
        await rooms.in_store(lambda: rooms.services.database.write(work))
    except ValidationError as error:
        refused = Refused.unreadable(error, fields, _SAID_BY_FIELD)
    except (Conflict, BadInput) as error:
        refused = Refused.by_service(error, fields)
    else:
        return RedirectResponse(
            f"{root_of(request)}/bench/stock/item?{_named(fields)}", HTTPStatus.SEE_OTHER
        )
    return await _item_page(request, rooms, visit, fields, refused, form)


def _named(fields: Mapping[str, str]) -> str:
    """The query that names the thing of a form."""
    named = {name: fields.get(name, "") for name in ("kind", "item", "colour", "size")}
    return urlencode({name: value for name, value in named.items() if value})
