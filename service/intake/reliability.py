"""How the shop's promises turned out, of those whose day is over."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import or_
from sqlalchemy import select as sa_select
from sqlmodel import Session, col

from service.domain.calendar import first_work_day
from service.domain.conformal import dispatch_day
from service.domain.reliability import Figures, PromiseOutcome, Reliability, reliability
from service.domain.shop import WorkCalendar
from service.intake.answers import Answer
from service.intake.services import Services
from service.store.tables import Order, OrderPromise

MOST_DAYS = 731
USUAL_DAYS = 90
MOST_ORDERS = 10_000
"""Orders looked at, the latest promised."""

_MILLE = 1_000
_COUNTERFACTUAL = (
    "Reckoned on the days on which these orders really left. Other promises would have changed "
    "what is made first."
)


class FiguresAnswer(Answer):
    """What became of some promises; days are working days.

    ``share_kept`` lies between ``low`` and ``high`` with 95 % confidence (Wilson's interval); all
    three are None without orders. Lateness counts orders in time as 0; ``late_95_days`` is not
    passed by 95 % of the orders. ``pinball_days`` is a proper score of the target's quantile: a day
    late costs the target, a day early the rest. A promise for the first day on which work could
    begin is one day long.
    """

    orders: int
    kept: int
    still_open: int
    share_kept: float | None
    low: float | None
    high: float | None
    late_days: float
    late_95_days: float
    early_days: float
    pinball_days: float
    promise_days: float


class LoadFiguresAnswer(Answer):
    """A third of the orders, by the booked share of the tightest station that the promise met."""

    least_load: float
    greatest_load: float
    figures: FiguresAnswer


class MethodFiguresAnswer(Answer):
    """Orders of one method; ``method`` is None for those with several."""

    method: str | None
    figures: FiguresAnswer


class RushFiguresAnswer(Answer):
    """Orders with rush, or without."""

    rush: bool
    figures: FiguresAnswer


class ConstantLeadAnswer(Answer):
    """The same lead time for every order that would have kept the same share, in working days.

    ``shorter_by`` is the share by which the shop's own promises were shorter on the mean.
    """

    days: float
    shorter_by: float


class InsteadAnswer(Answer):
    """What other rules would have given on the same orders; ``note`` says how to take it.

    ``plan_only`` promises the day of the plan by standard minutes, with no safety.
    ``constant_lead`` is None where no promise was kept.
    """

    note: str
    plan_only: FiguresAnswer
    constant_lead: ConstantLeadAnswer | None


class ReliabilityAnswer(Answer):
    """Promises whose day is over, from ``from_day`` to ``to_day``; cancelled orders left out.

    ``target_percent`` is what the shop promises by now; each order is scored by its own.
    ``complete`` is false where more orders fell into these days than are looked at, of which the
    latest are shown.
    """

    from_day: date
    to_day: date
    target_percent: int
    complete: bool
    overall: FiguresAnswer
    by_load: tuple[LoadFiguresAnswer, ...]
    by_method: tuple[MethodFiguresAnswer, ...]
    by_rush: tuple[RushFiguresAnswer, ...]
    instead: InsteadAnswer


@dataclass(frozen=True, slots=True)
class LookedBack:
    """The promises of some days, measured."""

    from_day: date
    to_day: date
    target_percent: int
    complete: bool
    measured: Reliability


def look_back(services: Services, days: int) -> LookedBack:
    """Promises of the last ``days`` days before today, 1 to ``MOST_DAYS``."""
    catalogue, now = services.catalogues.current.catalogue, services.clock()
    calendar = catalogue.calendar
    today = now.astimezone(ZoneInfo(calendar.time_zone)).date()
    first, last = today - timedelta(days=days), today - timedelta(days=1)
    # Open orders leave with the next dispatch at the earliest.
    soonest = dispatch_day(calendar, now)
    outcomes = services.database.read(
        lambda session: _outcomes(session, calendar, first, last, soonest)
    )
    shown = outcomes[:MOST_ORDERS]
    return LookedBack(
        first,
        last,
        catalogue.policy.promise_percent,
        len(shown) == len(outcomes),
        reliability(shown, calendar),
    )


def _outcomes(
    session: Session, calendar: WorkCalendar, first: date, last: date, soonest: date
) -> list[PromiseOutcome]:
    """The latest promised first, one more than are looked at where there are more."""
    rows = session.connection().execute(
        sa_select(
            col(Order.placed_at),
            col(OrderPromise.promised_day),
            col(OrderPromise.nominal_day),
            col(OrderPromise.done_at),
            col(OrderPromise.target_percent),
            col(OrderPromise.load_permille),
            col(OrderPromise.method),
            col(OrderPromise.rush),
        )
        .join(Order, col(Order.id) == col(OrderPromise.order_id))
        .where(
            col(OrderPromise.promised_day).between(first, last),
            or_(col(OrderPromise.done_at).is_not(None), ~col(OrderPromise.closed)),
        )
        .order_by(col(OrderPromise.promised_day).desc(), col(OrderPromise.order_id).desc())
        .limit(MOST_ORDERS + 1)
    )
    return [
        PromiseOutcome(
            first_day=first_work_day(calendar, placed_at),
            promised_day=promised_day,
            nominal_day=nominal_day,
            left_day=soonest if done_at is None else dispatch_day(calendar, done_at),
            still_open=done_at is None,
            target_percent=target,
            load=load / _MILLE,
            method=method,
            rush=rush,
        )
        for placed_at, promised_day, nominal_day, done_at, target, load, method, rush in rows
    ]


def reliability_answer(found: LookedBack) -> ReliabilityAnswer:
    """The figures as they are told."""
    measured, constant = found.measured, found.measured.constant
    return ReliabilityAnswer(
        from_day=found.from_day,
        to_day=found.to_day,
        target_percent=found.target_percent,
        complete=found.complete,
        overall=_figures(measured.overall),
        by_load=tuple(
            LoadFiguresAnswer(
                least_load=one.least_load,
                greatest_load=one.greatest_load,
                figures=_figures(one.figures),
            )
            for one in measured.by_load
        ),
        by_method=tuple(
            MethodFiguresAnswer(method=name or None, figures=_figures(each))
            for name, each in measured.by_method
        ),
        by_rush=tuple(
            RushFiguresAnswer(rush=rush, figures=_figures(each)) for rush, each in measured.by_rush
        ),
        instead=InsteadAnswer(
            note=_COUNTERFACTUAL,
            plan_only=_figures(measured.by_plan),
            constant_lead=None
            if constant is None
            else ConstantLeadAnswer(
                days=round(constant.days, 3), shorter_by=round(constant.shorter_by, 4)
            ),
        ),
    )


def _figures(found: Figures) -> FiguresAnswer:
    return FiguresAnswer(
        orders=found.orders,
        kept=found.kept,
        still_open=found.still_open,
        share_kept=_rounded(found.share),
        low=_rounded(found.low),
        high=_rounded(found.high),
        late_days=round(found.late_days, 3),
        late_95_days=found.late_95_days,
        early_days=round(found.early_days, 3),
        pinball_days=round(found.pinball_days, 4),
        promise_days=round(found.promise_days, 3),
    )


def _rounded(share: float | None) -> float | None:
    return None if share is None else round(share, 4)
