"""Quote lines: judge, price and date them, and keep the answer until it expires."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import chain
from zoneinfo import ZoneInfo

from sqlmodel import Session

from service.domain.calendar import working_days_between
from service.domain.canonical import rfc3339
from service.domain.capable_to_promise import NeededBy, Promise, needed_by, promise, rushed
from service.domain.compiled import CompiledCatalogue
from service.domain.errors import BadInput, FieldFault, NotFound
from service.domain.promising import StationWork, station_works
from service.domain.shop import Catalogue
from service.domain.shop_now import ShopNow
from service.domain.stock_needs import Need, TicketStock, needs_of
from service.domain.ticket import write_ticket
from service.domain.wishes import Line
from service.intake.answers import MoneyAnswer
from service.intake.check import LineVerdict
from service.intake.holds import check_holds, hold_for_quote, hold_written
from service.intake.material import material_of, needs_written
from service.intake.price_answers import NeededByAnswer, PromiseAnswer, QuoteAnswer
from service.intake.price_views import line_answer, more_answer, row_texts, tax_answer
from service.intake.priced_lines import PricedLines, PriceInputs, price_lines, with_rush
from service.intake.promises import most_rush_days, planned_ahead, promise_written, shop_now
from service.intake.requests import QuoteRequest
from service.intake.services import Caller, Services
from service.intake.settling import settle_day
from service.intake.ticket_rows import next_station
from service.store.database import lock_shop
from service.store.tables import Quote
from service.store.ticket_documents import document_name, keep_documents


@dataclass(frozen=True, slots=True)
class QuoteReady:
    """All of a quote that needs no store: its prices, its work, what it takes, and its tickets.

    ``works``, ``needs`` and ``documents`` are those of each line's ticket; ``tickets_json`` is what
    is kept of the tickets besides.
    """

    inputs: PriceInputs
    priced: PricedLines
    works: tuple[tuple[StationWork, ...], ...]
    needs: tuple[tuple[Need, ...], ...]
    inputs_json: str
    tickets_json: str
    documents: tuple[str, ...]

    def rushed(self, days: int) -> PricedLines:
        """The prices with so many days gained by rush."""
        return with_rush(self.inputs, self.priced, days) if days else self.priced


def prepare_quote(inputs: PriceInputs, request: QuoteRequest) -> QuoteReady:
    """Price the lines and write their tickets; computes only, errors as :func:`price_lines`."""
    priced = price_lines(inputs, request)
    tickets, works, needs, documents = [], [], [], []
    for line, verdicts, price in zip(
        priced.lines, priced.verdicts, priced.price.lines, strict=True
    ):
        document = write_ticket(inputs.compiled, line, verdicts, price.work)
        lot_pieces = inputs.compiled.catalogue.policy.transfer_pieces
        works.append(station_works(price.work, _hold_h(verdicts), lot_pieces))
        documents.append(document.model_dump_json())
        needs.append(tuple(needs_of(TicketStock.model_validate_json(documents[-1]))))
        tickets.append(
            {
                "pieces": line.pieces,
                "method": _only_method(line),
                "station": next_station(document, ()),
                "document": document_name(documents[-1]),
                "works": [step.written() for step in works[-1]],
                "needs": needs_written(needs[-1]),
            }
        )
    return QuoteReady(
        inputs=inputs,
        priced=priced,
        works=tuple(works),
        needs=tuple(needs),
        inputs_json=inputs.as_json(),
        tickets_json=_compact(tickets),
        documents=tuple(documents),
    )


def quote_lines(
    services: Services,
    session: Session,
    caller: Caller,
    request: QuoteRequest,
    ready: QuoteReady,
) -> QuoteAnswer:
    """Promise a day, keep the quote and answer, within the caller's transaction.

    Without a hold the day stands for the whole life of the quote as long as nobody takes its time:
    it is planned as if accepted at the last moment. With a hold it is planned as if accepted when
    the hold ends, and kept for it until then. Raises ``BadInput`` for a day that is over, for more
    minutes of hold than the shop gives, and for work beyond the days that the shop plans ahead;
    ``Conflict`` for more holds at a time than one holder may have.
    """
    now, compiled = services.clock(), ready.inputs.compiled
    _check_wishes(compiled, request, now)
    if request.hold_min:
        lock_shop(session)
        check_holds(session, caller.holder, now)
    settle_day(services, session)
    expires_at = now + timedelta(minutes=compiled.catalogue.policy.quote_valid_min)
    # Nobody can accept what is held for a quote that has expired.
    held_until = (
        min(expires_at, now + timedelta(minutes=request.hold_min)) if request.hold_min else None
    )
    start = held_until or expires_at
    found = _Found.of(services, session, request, ready, (now, start))
    answer = _answer(services.new_id("quote"), compiled, found, (now, expires_at), held_until)
    keep_documents(session, ready.documents)
    session.add(
        Quote(
            id=answer.id,
            holder=caller.holder,
            catalogue_version=compiled.version,
            request_json=request.model_dump_json(),
            answer_json=answer.model_dump_json(),
            inputs_json=ready.inputs_json,
            cost_json=_cost_json(found.priced),
            plan_json=_plan_json(ready.tickets_json, found.promised, start, held_until),
            total_minor=found.priced.price.total_minor,
            currency=found.priced.price.currency,
            promised_day=found.promised.promised_day,
            created_at=now,
            expires_at=expires_at,
        )
    )
    if held_until is not None:
        session.flush()
        needs = chain.from_iterable(ready.needs)
        hold_for_quote(
            session, answer.id, found.shop, found.promised, needs, until=held_until, now=now
        )
    return answer


def get_quote(services: Services, caller: Caller, quote_id: str) -> QuoteAnswer:
    """The quote as it was given; ``NotFound`` for another caller's."""
    row = services.database.read(lambda session: session.get(Quote, quote_id))
    if row is None or not caller.may_see(row.holder):
        raise NotFound("quote-not-found", "There is no such quote of yours.")
    return QuoteAnswer.model_validate_json(row.answer_json)


def _check_wishes(compiled: CompiledCatalogue, request: QuoteRequest, now: datetime) -> None:
    """Days and minutes that can be asked for; ``BadInput`` naming each that cannot."""
    catalogue = compiled.catalogue
    today = now.astimezone(ZoneInfo(catalogue.calendar.time_zone)).date()
    most = catalogue.policy.hold_max_min
    faults = []
    if request.needed_by is not None and request.needed_by < today:
        what = f"{request.needed_by} is over: the shop's present day is {today}. Name it or a later"
        faults.append(FieldFault(f"{what} one.", ("needed_by",), code="day-is-over"))
    if request.hold_min > most:
        what = f"This shop holds a day for at most {most} minutes, not {request.hold_min}."
        faults.append(FieldFault(what, ("hold_min",), code="too-large"))
    if request.rush and not most_rush_days(catalogue):
        what = "This shop takes no rush. Leave 'rush' out; 'needed_by' says what day can be had."
        faults.append(FieldFault(what, ("rush",), code="no-rush"))
    if faults:
        raise BadInput("fields-refused", "This cannot be asked of the shop.", faults=faults)


@dataclass(frozen=True, slots=True)
class _Found:
    """The promise a quote is given in ``shop``, its price, and how a day that is needed stands."""

    shop: ShopNow
    promised: Promise
    rush_days: int
    priced: PricedLines
    needed: NeededByAnswer | None

    @classmethod
    def of(
        cls,
        services: Services,
        session: Session,
        request: QuoteRequest,
        ready: QuoteReady,
        now_and_start: tuple[datetime, datetime],
    ) -> _Found:
        """Find it now, for work that begins at the other moment."""
        now, start = now_and_start
        catalogue, works = ready.inputs.compiled.catalogue, ready.works
        with planned_ahead(catalogue.station_by_id):
            shop = shop_now(services, session, catalogue, start=start, now=now)
            material = material_of(session, catalogue, *ready.needs, start=start, now=now)
            ordinary = promise(shop, works, material)
            fast = None
            if request.rush:
                most_days = most_rush_days(catalogue)
                fast = rushed(shop, works, ordinary, most_rush_days=most_days)
            promised = fast or ordinary
            gained = _gained(catalogue, ordinary, promised)
            found = cls(shop, promised, gained, ready.rushed(gained), None)
            if request.needed_by is None:
                return found
            reached = needed_by(
                shop,
                works,
                ordinary,
                request.needed_by,
                most_rush_days=most_rush_days(catalogue),
            )
        return replace(found, needed=_needed_answer(ready, ordinary, reached))


def _gained(catalogue: Catalogue, ordinary: Promise, promised: Promise) -> int:
    return working_days_between(catalogue.calendar, promised.promised_day, ordinary.promised_day)


def _needed_answer(ready: QuoteReady, ordinary: Promise, reached: NeededBy) -> NeededByAnswer:
    gained = _gained(ready.inputs.compiled.catalogue, ordinary, reached.nearest)
    price = ready.rushed(gained).price
    return NeededByAnswer(
        day=reached.day,
        answer=reached.reach,
        nearest_day=reached.nearest.promised_day,
        nearest_rush_days=gained,
        nearest_total=MoneyAnswer(amount=price.total_minor, currency=price.currency),
        ways=reached.ways,
    )


def _plan_json(
    tickets_json: str, promised: Promise, start: datetime, held_until: datetime | None
) -> str:
    """What accepting needs: when it was planned to begin, the promise, each ticket's work.

    ``held`` has what the quote holds and until when, null for nothing; of a plan without it, it may
    hold something.
    """
    held = None if held_until is None else hold_written(promised, held_until)
    head = {"start": rfc3339(start), "held": held, "promise": promise_written(promised)}
    return f'{_compact(head)[:-1]},"tickets":{tickets_json}}}'


def _cost_json(priced: PricedLines) -> str:
    return _compact([row_texts(line.rows) for line in priced.price.lines])


def _compact(document: object) -> str:
    """JSON text of what is kept, of texts and whole numbers alone."""
    return json.dumps(document, separators=(",", ":"))


def _hold_h(verdicts: LineVerdict) -> int:
    """Hours for which a first piece is held, by what the rules ask of the chosen methods."""
    return max((one.chosen.hold_h for one in verdicts if one.chosen is not None), default=0)


def _only_method(line: Line) -> str:
    """The method of the line's one decoration, from whose spoilage it learns; empty for several."""
    return (line.decorations[0].method_id or "") if len(line.decorations) == 1 else ""


def _answer(
    quote_id: str,
    compiled: CompiledCatalogue,
    found: _Found,
    stands: tuple[datetime, datetime],
    held_until: datetime | None,
) -> QuoteAnswer:
    priced, price = found.priced, found.priced.price
    return QuoteAnswer(
        id=quote_id,
        catalogue_version=compiled.version,
        created_at=stands[0],
        expires_at=stands[1],
        lines=tuple(
            line_answer(line, verdicts, line_price, day)
            for line, verdicts, line_price, day in zip(
                priced.lines, priced.verdicts, price.lines, found.promised.ticket_days, strict=True
            )
        ),
        goods=MoneyAnswer(amount=price.lines_minor, currency=price.currency),
        tax=tax_answer(price),
        total=MoneyAnswer(amount=price.total_minor, currency=price.currency),
        offer=priced.terms.offer_id,
        more_costs_less=more_answer(price),
        promise=_promise_answer(compiled.catalogue, found),
        needed_by=found.needed,
        held_until=held_until,
    )


def _promise_answer(catalogue: Catalogue, found: _Found) -> PromiseAnswer:
    promised = found.promised
    station = catalogue.station_by_id.get(promised.bottleneck)
    waits_for = promised.material.waits_for
    return PromiseAnswer(
        day=promised.promised_day,
        time_zone=catalogue.calendar.time_zone,
        reason=promised.reason,
        kept_percent=catalogue.policy.promise_percent,
        tightest_station=None if station is None else station.name,
        waits_for=waits_for or None,
        material_day=promised.material.day if waits_for else None,
        rush_days=found.rush_days,
    )
