"""Accepting quotes, exactly as they stand: all that are asked for at one time in one transaction.

What is free is read once, under the shop's lock. Each quote is then promised its work on what those
before it have left, in the order in which they were asked for, as if each had come alone; and what
became of all of them is written at the end. A quote that is refused writes nothing and takes
nothing.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any, NamedTuple

from sqlmodel import Session

from service.domain.booked_time import Booked, BookedDays, with_shares
from service.domain.calendar import place_of
from service.domain.canonical import rfc3339
from service.domain.capable_to_promise import promise
from service.domain.errors import Conflict, Gone, NotFound, ServiceError
from service.domain.found_day import found_day, margins_with
from service.domain.margins import Margin, Margins, freed_after
from service.domain.promising import (
    HorizonExceeded,
    MaterialDay,
    PlannedBooking,
    StationWork,
)
from service.domain.replanning import without
from service.domain.shop import Catalogue
from service.domain.shop_now import ShopNow
from service.domain.slack import ShopHours, epoch_s
from service.domain.stock_items import StockItem
from service.domain.stock_needs import Need, TicketStock, needs_of
from service.domain.ticket import TicketDocument
from service.domain.ticket_states import OrderState, TicketState
from service.intake.answers import OrderAnswer
from service.intake.holds import (
    Hold,
    bookings_held,
    end_quote_holds,
    live_holds,
)
from service.intake.material import needs_read, shelf_of, wanted_of
from service.intake.order_answers import NewTicket, order_answer
from service.intake.promises import promise_written, record_of
from service.intake.requests import OrderRequest
from service.intake.services import Caller, Services
from service.intake.settling import settle_day
from service.intake.stock_tickets import need_rows
from service.intake.ticket_events import accepted_event
from service.intake.ticket_rows import next_station
from service.store.database import lock_shop
from service.store.ledger import (
    OpenShare,
    StationTime,
    clear_ended_holds,
    keep_freed,
    rows_of_shares,
    station_time,
)
from service.store.many_rows import TableRows
from service.store.new_orders import (
    NewOrder,
    QuoteToAccept,
    quotes_to_accept,
    rows_of_needs,
    rows_of_orders,
    rows_of_tickets,
    tickets_to_come,
)
from service.store.outbox import rows_of_events
from service.store.station_margins import margins_from, rows_of_margins
from service.store.stock_sums import rows_of_needed
from service.store.ticket_documents import document_name, keep_documents


@dataclass(frozen=True, slots=True)
class Acceptance:
    """Who accepts which quote."""

    caller: Caller
    request: OrderRequest
    trace_id: str = ""


def accept_quotes(
    services: Services, session: Session, asked: Sequence[Acceptance]
) -> tuple[list[OrderAnswer | ServiceError], list[TableRows]]:
    """Turn quotes into orders with their tickets, station time and events; one at least is asked.

    Runs in the caller's transaction, which is still to write the rows that are given. Of each the
    order, or why there is none: ``NotFound`` for another caller's quote, ``Gone`` for an expired
    one, ``Conflict`` when it was accepted before or when, since it was given, others took the
    station time or the material that its day needs.
    """
    lock_shop(session)
    settle_day(services, session, trace_id=asked[0].trace_id)
    desk = _Desk(services, session, [one.request.quote_id for one in asked])
    accepted: list[_Accepted] = []
    told: list[OrderAnswer | ServiceError] = []
    for one in asked:
        try:
            made = desk.accept(one)
        except ServiceError as refused:
            told.append(refused)
        else:
            accepted.append(made)
            told.append(order_answer(made.order, made.tickets, made.order.promised_day))
    return told, _rows(session, accepted) if accepted else []


class _Planned(NamedTuple):
    """A quote with the plan that was kept of it, and what each of its tickets needs.

    ``wanted`` is how much of each thing that is, ticket by ticket.
    """

    quote: QuoteToAccept
    plan: Mapping[str, Any]
    needs: Sequence[Sequence[Need]]
    wanted: Sequence[Mapping[StockItem, int]]

    @classmethod
    def of(cls, quote: QuoteToAccept) -> _Planned:
        """Read what was kept with it."""
        plan = json.loads(quote.plan_json)
        needs = [_needs(ticket) for ticket in plan["tickets"]]
        return cls(quote, plan, needs, [wanted_of(each) for each in needs])

    @property
    def documents(self) -> list[str]:
        """Documents that come with the plan, which is from before they were kept when quoted."""
        tickets = self.plan["tickets"]
        return [one["document_json"] for one in tickets if "document_json" in one]

    @property
    def may_hold(self) -> bool:
        """Whether it may hold something; of a plan that does not say, it may."""
        return self.plan.get("held", {}) is not None


class _Booked(NamedTuple):
    """The station time that an order takes, what is kept of its promise, and what changes by it."""

    bookings: Sequence[PlannedBooking]
    rush: bool
    promise: Mapping[str, Any]
    margins: Margins
    freed: Booked


class _Accepted(NamedTuple):
    """An order that is still to be written, with all that goes with it."""

    planned: _Planned
    order: NewOrder
    tickets: Sequence[NewTicket]
    ticket_rows: Sequence[Mapping[str, Any]]
    booked: _Booked
    event: Mapping[str, Any]


class _Desk:
    """What is free, as it stands after each quote that was accepted."""

    def __init__(self, services: Services, session: Session, quote_ids: Sequence[str]) -> None:
        self._services, self._session = services, session
        self._now, self._in_force = services.clock(), services.catalogues.current.catalogue
        quotes = quotes_to_accept(session, quote_ids)
        self._quotes = quotes
        self._planned = {
            id_: _Planned.of(quote) for id_, quote in quotes.items() if quote.order_id is None
        }
        holding = sorted(id_ for id_, planned in self._planned.items() if planned.may_hold)
        self._holds = live_holds(session, holding, self._now)
        wanted = {item for one in self._planned.values() for each in one.wanted for item in each}
        self._shelf = shelf_of(session, wanted, self._in_force, self._now)
        today, _ = place_of(self._in_force.calendar, self._now)
        time = (
            station_time(session, today, now=self._now)
            if quotes
            else StationTime(BookedDays({}), {})
        )
        self._booked: Booked = time.booked
        self._freed = time.freed
        self._margins = margins_from(session, today) if quotes else {}
        self._hours = ShopHours(self._in_force.calendar, self._in_force.stations)
        count = sum(len(one.plan["tickets"]) for one in self._planned.values())
        self._to_come = tickets_to_come(session, count)

    def accept(self, asked: Acceptance) -> _Accepted:
        """Take what a quote needs, or raise why it cannot be accepted and leave all as it was."""
        planned = self._open(asked)
        hold = self._holds.get(planned.quote.id, Hold())
        booked_before = self._booked
        self._booked = without(self._booked, hold.shares) if hold.shares else self._booked
        self._shelf.give_back(hold.material)
        try:
            booked = self._what_is_held(planned, hold) or self._what_is_free(planned, hold)
        except ServiceError:
            self._booked = booked_before
            self._shelf.keep(hold.material)
            raise
        shares = [(one.station, one.day, one.seconds) for one in booked.bookings]
        self._booked = with_shares(self._booked, shares, rush=booked.rush)
        for place, by_day in booked.margins.items():
            self._margins.setdefault(place, {}).update(by_day)
        self._freed = {**self._freed, **booked.freed}
        for wanted in planned.wanted:
            self._shelf.take(wanted)
        return self._accepted(asked, planned, booked)

    def _open(self, asked: Acceptance) -> _Planned:
        quote = self._quotes.get(asked.request.quote_id)
        if quote is None or not asked.caller.may_see(quote.holder):
            raise NotFound("quote-not-found", "There is no such quote of yours.")
        if quote.order_id is not None:
            raise Conflict(
                "quote-already-accepted",
                f"This quote became order {quote.order_id}. Ask for a new quote to order again.",
                extra={"order_id": quote.order_id},
            )
        if quote.expires_at <= self._now:
            raise Gone(
                "quote-expired",
                f"This quote stood until {rfc3339(quote.expires_at)}. Ask for a new one.",
                extra={"expired_at": rfc3339(quote.expires_at)},
            )
        return self._planned[quote.id]

    def _what_is_held(self, planned: _Planned, hold: Hold) -> _Booked | None:
        """What the quote holds, turned into bookings as it is; None where nothing is held any more.

        It is not promised again: time and material were kept for it, and what others were promised
        since came after it and left it its margins. Only another catalogue put in force, or
        material that is gone, breaks a hold.
        """
        held = planned.plan.get("held") or {}
        if not hold.shares or "bookings" not in held:
            return None
        if planned.quote.catalogue_version != self._services.catalogues.current.version:
            return None
        bookings, until = bookings_held(held), datetime.fromisoformat(held["until"])
        ready = self._shelf.material(planned.wanted, self._in_force, start=until)
        if any(one.day < ready.of_ticket(one.ticket_index).day for one in bookings):
            return None
        return _Booked(bookings, held["rush"], planned.plan["promise"], {}, {})

    def _what_is_free(self, planned: _Planned, hold: Hold) -> _Booked:
        """Promise the quote's work on what is free now; it must still leave by the promised day.

        The correction is the one the quote was given, so that a day slips by what was taken since,
        and by another catalogue put in force: days, minutes and policy are those of now, for a
        machine may have gone down. Work that may begin earlier than the quote assumed can, with
        several tickets, end later, as one takes another's place; so the quote's own start is tried
        too before the promise is broken. A station that is gone from the catalogue stays as it was
        quoted. What it still held is given back and may be taken again: its toll was taken.
        """
        quote, plan = planned.quote, planned.plan
        quoted = self._quoted(quote)
        written = plan.get("promise", {})
        rush, corrected_by = written.get("rush", False), written.get("corrected_by", 0.0)
        as_quoted = datetime.fromisoformat(plan.get("start", rfc3339(quote.expires_at)))
        works, given_back = _works(planned), self._freed_with(hold)
        days: list[date] = []
        for start in dict.fromkeys((self._now, max(self._now, as_quoted))):
            shop = replace(self._shop(start, quoted), freed=given_back)
            material = self._material(planned, start, quoted)
            try:
                found = found_day(shop, works, material, rush=rush, corrected_by=corrected_by)
            except HorizonExceeded:
                continue
            if found.day <= quote.promised_day:
                # A quote from before promises were kept is promised by what is found now.
                told = written or promise_written(promise(shop, works, material))
                margins = margins_with(
                    shop, found, quote.promised_day, rush=rush, corrected_by=corrected_by
                )
                freed = freed_after(given_back, found.plan.bookings, rush=rush)
                return _Booked(found.plan.bookings, rush, told, margins, freed)
            days.append(found.day)
        raise _slipped(quote, min(days, default=None))

    def _freed_with(self, hold: Hold) -> Booked:
        freed: Booked = self._freed
        for station, day, seconds, rush in hold.shares:
            freed = with_shares(freed, [(station, day, seconds)], rush=rush)
        return freed

    def _material(self, planned: _Planned, start: datetime, quoted: Catalogue) -> MaterialDay:
        return self._shelf.material(planned.wanted, self._in_force, start=start, quoted=quoted)

    def _quoted(self, quote: QuoteToAccept) -> Catalogue:
        version = quote.catalogue_version
        return self._services.catalogues.of_version(self._session, version).catalogue

    def _shop(self, start: datetime, quoted: Catalogue) -> ShopNow:
        return replace(
            ShopNow.of(self._in_force, start, self._booked),
            stations={**quoted.station_by_id, **self._in_force.station_by_id},
            booked_from=self._now,
            margins=self._margins,
            freed=self._freed,
        )

    def _accepted(self, asked: Acceptance, planned: _Planned, booked: _Booked) -> _Accepted:
        quote = planned.quote
        order = NewOrder(
            id=self._services.new_id("order"),
            holder=quote.holder,
            quote_id=quote.id,
            reference=asked.request.reference,
            state=OrderState.ACCEPTED,
            total_minor=quote.total_minor,
            currency=quote.currency,
            promised_day=quote.promised_day,
            placed_at=self._now,
        )
        # Asked for once more at the same time, it is this order.
        self._quotes[quote.id] = quote._replace(order_id=order.id)
        rows = list(self._ticket_rows(order, planned.plan["tickets"]))
        tickets = [
            NewTicket(row["number"], row["line_index"], row["state"], row["pieces"]) for row in rows
        ]
        event = accepted_event(self._services, order, asked.trace_id)
        return _Accepted(planned, order, tickets, rows, booked, event)

    def _ticket_rows(
        self, order: NewOrder, planned: Sequence[Mapping[str, Any]]
    ) -> Iterator[dict[str, Any]]:
        """The tickets, numbered on from the last; the shop's lock keeps numbers apart."""
        for index, entry in enumerate(planned):
            ticket_id, number = next(self._to_come)
            work_s = sum(work[1] for work in entry["works"])
            yield {
                "id": ticket_id,
                "number": number,
                "order_id": order.id,
                "line_index": index,
                "state": TicketState.WAITING,
                "method": entry.get("method", ""),
                "station": _first_station(entry),
                "pieces": entry["pieces"],
                "promised_day": order.promised_day,
                "latest_start_s": epoch_s(self._hours.latest_start(order.promised_day, work_s)),
                "document_sha256": entry.get("document") or document_name(entry["document_json"]),
                "created_at": order.placed_at,
            }


def _rows(session: Session, accepted: Sequence[_Accepted]) -> list[TableRows]:
    """Orders with all that goes with them, to be written; what they held is given back here."""
    holding = [one.planned.quote.id for one in accepted if one.planned.may_hold]
    freed = {place: time for one in accepted for place, time in one.booked.freed.items()}
    if holding or freed:
        # At the moment for which it was read what is held, so that nothing is both.
        clear_ended_holds(session, accepted[0].order.placed_at)
    end_quote_holds(session, holding)
    keep_documents(session, [text for one in accepted for text in one.planned.documents])
    keep_freed(session, freed)
    needed: list[dict[str, Any]] = []
    shares: list[OpenShare] = []
    changed: dict[tuple[str, bool], dict[date, Margin]] = {}
    for one in accepted:
        ticket_ids = [row["id"] for row in one.ticket_rows]
        for ticket_id, needs in zip(ticket_ids, one.planned.needs, strict=True):
            needed += need_rows(ticket_id, needs)
        shares += [
            OpenShare(
                ticket_ids[share.ticket_index],
                share.station,
                share.day,
                share.seconds,
                one.booked.rush,
            )
            for share in one.booked.bookings
        ]
        for place, by_day in one.booked.margins.items():
            changed.setdefault(place, {}).update(by_day)
    orders, promises = [one.order for one in accepted], [_record(one) for one in accepted]
    return [
        *rows_of_orders(orders, promises),
        rows_of_tickets([row for one in accepted for row in one.ticket_rows]),
        rows_of_needs(needed),
        rows_of_needed(needed),
        *rows_of_shares(shares),
        rows_of_margins(changed),
        rows_of_events([one.event for one in accepted]),
    ]


def _works(planned: _Planned) -> list[list[StationWork]]:
    """What stations do of each ticket."""
    tickets = planned.plan["tickets"]
    return [[StationWork(*work) for work in ticket["works"]] for ticket in tickets]


def _record(one: _Accepted) -> dict[str, Any]:
    methods = {ticket["method"] for ticket in one.ticket_rows}
    method = methods.pop() if len(methods) == 1 else ""
    return record_of(one.order.id, one.order.promised_day, one.booked.promise, method)


def _needs(ticket: Mapping[str, Any]) -> list[Need]:
    """What a planned ticket takes; of a quote from before plans said so, by its document."""
    if "needs" in ticket:
        return needs_read(ticket["needs"])
    return list(needs_of(TicketStock.model_validate_json(ticket["document_json"])))


def _first_station(entry: Mapping[str, Any]) -> str:
    """Where the ticket waits; a quote from before plans said so is looked up in its document."""
    if "station" in entry:
        return str(entry["station"])
    return next_station(TicketDocument.model_validate_json(entry["document_json"]), ())


def _slipped(quote: QuoteToAccept, day: date | None) -> Conflict:
    new_day = day.isoformat() if day else None
    now_day = f"the earliest day is now {new_day}" if new_day else "no day can be given now"
    return Conflict(
        "promise-slipped",
        f"The time or the material that {quote.promised_day.isoformat()} needs is taken or gone; "
        f"{now_day}. Nothing was accepted. Ask for a new quote to take the new day.",
        extra={"promised_day": quote.promised_day.isoformat(), "new_day": new_day},
    )
