"""Standard minutes: what jobs have taught of them, shown to the shop and applied on accept alone.

What was entered before the shop's present day counts, so that what is proposed stands still while
it is looked at. It is always reckoned from what the catalogue's files say: accepting it changes
nothing of what is proposed next, and no job counts twice. What is accepted is a new version of the
catalogue, and the one before stays as it was, with the quotes that are bound to it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time
from decimal import Decimal
from zoneinfo import ZoneInfo

from sqlmodel import Session

from service.catalogue.loading import loaded_as
from service.domain.compiled import CompiledCatalogue
from service.domain.errors import BadInput, Conflict, FieldFault
from service.domain.learning import (
    HALF_LIFE_JOBS,
    Cell,
    Learnt,
    learn,
    station_spreads,
)
from service.domain.shop import Catalogue
from service.domain.standard_minutes import (
    EACH_STEP,
    AcceptedMinutes,
    NamedOperation,
    OperationName,
    StandardMinutes,
    all_operations,
    as_written,
    plain,
    with_minutes,
)
from service.intake.learning_answers import (
    AcceptedMinutesAnswer,
    ChangedMinutesAnswer,
    LearntAnswer,
    OperationMinutesAnswer,
    StandardMinutesAnswer,
    StandardMinutesPage,
    StationSpreadAnswer,
)
from service.intake.learning_requests import AcceptMinutesRequest, MinutesChange
from service.intake.learning_rows import accepted_minutes, jobs_before, ms_of, parts_of
from service.intake.names import MOST_LISTED, unknown_name
from service.intake.services import Services
from service.store.catalogue_versions import store_version, version_in_force
from service.store.database import lock_shop
from service.store.tables import AcceptedStandard

INTERVAL_PERCENT = 90
_LOW, _HIGH = 0.05, 0.95
_DIGITS = 4


@dataclass(frozen=True, slots=True)
class Proposal:
    """An operation with its minutes in force and as written, and what its jobs have taught."""

    named: NamedOperation
    in_force: StandardMinutes
    written: StandardMinutes
    learnt: Learnt | None

    @property
    def proposed(self) -> StandardMinutes | None:
        """What to put in force; None where no job stands behind it."""
        return None if self.learnt is None else self.written.times(self.learnt.ratio)

    @property
    def jobs(self) -> int:
        """Real jobs that stand behind it."""
        return self.learnt.jobs if self.learnt else 0

    def named_by(self, change: MinutesChange) -> StandardMinutes | None:
        """The minutes that a change names: the proposed or the written ones; None for others."""
        for known in (self.proposed, self.written):
            if known is None or known.each_min != change.each_min:
                continue
            if change.weed_share in (None, known.weed_share):
                return known
        return None


@dataclass(frozen=True, slots=True)
class Review:
    """What was learnt of every operation of a catalogue version, beside what was accepted.

    It stays the same as long as these three do: version, accepted, counted_before.
    """

    version: str
    accepted: Sequence[AcceptedMinutes]
    counted_before: datetime
    catalogue: Catalogue
    proposals: Mapping[OperationName, Proposal]
    learnt: Mapping[Cell, Learnt]

    @property
    def believed_spreads(self) -> dict[str, float]:
        """By station, how far its minutes scatter as the catalogue has it."""
        return believed_spreads(self.catalogue)

    @property
    def learnt_spreads(self) -> dict[str, float]:
        """The same after the jobs seen."""
        return station_spreads(self.learnt, self.believed_spreads)


def believed_spreads(catalogue: Catalogue) -> dict[str, float]:
    """By station, the spread of its real minutes before any job; deviation as a share of mean."""
    usual = catalogue.policy.promise_spread
    return {station.id: station.spread_or(usual) for station in catalogue.stations}


def review(session: Session, compiled: CompiledCatalogue, now: datetime) -> Review:
    """What jobs have taught of the catalogue's operations, of all entered before ``now``'s day."""
    catalogue, accepted = compiled.catalogue, accepted_minutes(session)
    begins = _day_begins(catalogue, now)
    written = as_written(catalogue, accepted)
    learnt = learn(jobs_before(session, begins, catalogue, written), believed_spreads(catalogue))
    return Review(
        version=compiled.version,
        accepted=accepted,
        counted_before=begins,
        catalogue=catalogue,
        proposals={
            one.name: Proposal(
                named=one,
                in_force=StandardMinutes.of(one.operation),
                written=written[one.name],
                learnt=None if written[one.name].nothing else learnt.get(one.cell),
            )
            for one in all_operations(catalogue)
        },
        learnt=learnt,
    )


def _day_begins(catalogue: Catalogue, now: datetime) -> datetime:
    """When the shop's present day began, in UTC."""
    zone = ZoneInfo(catalogue.calendar.time_zone)
    return datetime.combine(now.astimezone(zone).date(), time(0), zone).astimezone(UTC)


def look(services: Services) -> Review:
    """The review of the version in force here, in a transaction of its own."""
    compiled, now = services.catalogues.current, services.clock()
    return services.database.read(lambda session: review(session, compiled, now))


def show_standard_minutes(services: Services, method: str | None) -> StandardMinutesPage:
    """Every operation of one method or of all. ``BadInput`` for a method the shop has not."""
    catalogue = services.catalogues.current.catalogue
    if method is not None and method not in catalogue.method_by_id:
        detail = unknown_name("method", method, catalogue.method_by_id)
        fault = FieldFault(detail, parameter="method", code="unknown-name")
        raise BadInput("fields-refused", detail, faults=[fault])
    found = look(services)
    return StandardMinutesPage(
        catalogue_version=found.version,
        counted_before=found.counted_before,
        interval_percent=INTERVAL_PERCENT,
        half_life_jobs=HALF_LIFE_JOBS,
        operations=tuple(
            _operation(one)
            for name, one in found.proposals.items()
            if method is None or name.method == method
        ),
        stations=tuple(_stations(found)),
    )


def accept_minutes(
    services: Services, session: Session, request: AcceptMinutesRequest, looked: Review
) -> AcceptedMinutesAnswer:
    """Put the named minutes in force as a new version, in the caller's transaction.

    ``looked`` was reckoned before the shop was locked, and is anew where it no longer holds.
    ``Catalogues.follow`` makes it the version of this process, once all is committed. Raises
    ``BadInput`` for operations that are not there or are named twice, and
    ``standard-minutes-changed`` where something else is proposed by now; then nothing is changed.
    """
    lock_shop(session)
    now = services.clock()
    found = _still_so(services, session, looked, now)
    _refuse_unknown(found, request)
    wanted = _wanted(found, request)
    changes = [
        (found.proposals[name], minutes)
        for name, minutes in wanted.items()
        if found.proposals[name].in_force != minutes
    ]
    version = found.version
    if changes:
        session.add_all([_row(one, minutes, request.who, now) for one, minutes in changes])
        loaded = loaded_as(with_minutes(found.catalogue, wanted))
        version = store_version(session, loaded, now).version
    return AcceptedMinutesAnswer(
        catalogue_version=version, changes=tuple(_changed(*one) for one in changes)
    )


def _still_so(services: Services, session: Session, looked: Review, now: datetime) -> Review:
    """The review of the newest version stored, which another process may have put in force."""
    row = version_in_force(session)
    version = looked.version if row is None else row.version
    compiled = services.catalogues.of_version(session, version)
    asked = (version, accepted_minutes(session), _day_begins(compiled.catalogue, now))
    if asked == (looked.version, looked.accepted, looked.counted_before):
        return looked
    return review(session, compiled, now)


def _refuse_unknown(found: Review, request: AcceptMinutesRequest) -> None:
    faults, methods = [], found.catalogue.method_by_id
    seen: set[OperationName] = set()
    for at, change in enumerate(request.changes):
        name = OperationName(change.method, change.operation)
        if change.method not in methods:
            detail = unknown_name("method", change.method, methods)
            faults.append(FieldFault(detail, ("changes", at, "method"), code="unknown-name"))
        elif name not in found.proposals:
            known = [one.operation for one in found.proposals if one.method == change.method]
            detail = unknown_name("operation", change.operation, known, f" of {change.method}")
            faults.append(FieldFault(detail, ("changes", at, "operation"), code="unknown-name"))
        elif name in seen:
            detail = "This operation is named twice."
            faults.append(FieldFault(detail, ("changes", at, "operation"), code="too-many"))
        seen.add(name)
    if faults:
        detail = "Some changes name what cannot be changed."
        raise BadInput("fields-refused", detail, faults=faults)


def _wanted(found: Review, request: AcceptMinutesRequest) -> dict[OperationName, StandardMinutes]:
    """What the changes name, if each is still proposed, or is what is written."""
    wanted, other = {}, []
    for change in request.changes:
        name = OperationName(change.method, change.operation)
        minutes = found.proposals[name].named_by(change)
        if minutes is None:
            other.append(found.proposals[name])
        else:
            wanted[name] = minutes
    if other:
        names = [f"{one.named.name.operation} of {one.named.name.method}" for one in other]
        more = f" and {len(names) - MOST_LISTED} more" if len(names) > MOST_LISTED else ""
        raise Conflict(
            "standard-minutes-changed",
            f"For {', '.join(names[:MOST_LISTED])}{more} other minutes are proposed by now, or "
            "none. Nothing was changed. Look again, then decide.",
            extra={
                "operations": [_operation(one).model_dump(mode="json") for one in other],
            },
        )
    return wanted


def _row(one: Proposal, minutes: StandardMinutes, who: str, now: datetime) -> AcceptedStandard:
    return AcceptedStandard(
        method=one.named.name.method,
        operation=one.named.name.operation,
        station=one.named.operation.station,
        written_each_ms=ms_of(one.written.each_min),
        written_weed_e4=parts_of(one.written.weed_share),
        each_ms=ms_of(minutes.each_min),
        weed_e4=parts_of(minutes.weed_share),
        jobs=one.jobs,
        who=who,
        at=now,
    )


def _changed(one: Proposal, minutes: StandardMinutes) -> ChangedMinutesAnswer:
    return ChangedMinutesAnswer(
        method=one.named.name.method,
        operation=one.named.name.operation,
        before=_minutes(one.in_force),
        after=_minutes(minutes),
        jobs=one.jobs,
    )


def _operation(one: Proposal) -> OperationMinutesAnswer:
    proposed = one.proposed
    return OperationMinutesAnswer(
        method=one.named.name.method,
        operation=one.named.name.operation,
        kind=one.named.operation.kind,
        station=one.named.operation.station,
        in_force=_minutes(one.in_force),
        written=_minutes(one.written),
        learnt=_learnt(one.learnt, one.written) if one.learnt else None,
        proposed=_minutes(proposed) if proposed else None,
        change_percent=_change_percent(one.in_force, proposed) if proposed else None,
    )


def _minutes(minutes: StandardMinutes) -> StandardMinutesAnswer:
    return StandardMinutesAnswer(
        each_min=plain(minutes.each_min), weed_share=plain(minutes.weed_share)
    )


def _learnt(learnt: Learnt, written: StandardMinutes) -> LearntAnswer:
    low, high = learnt.next_ratio(_LOW), learnt.next_ratio(_HIGH)
    return LearntAnswer(
        jobs=learnt.jobs,
        prior_jobs=round(learnt.prior_jobs, 2),
        prior_ratio=round(learnt.prior_ratio, _DIGITS),
        ratio=round(learnt.ratio, _DIGITS),
        low_ratio=round(low, _DIGITS),
        high_ratio=round(high, _DIGITS),
        low_min=_times(written.each_min, low),
        high_min=_times(written.each_min, high),
    )


def _times(minutes: Decimal, ratio: float) -> Decimal:
    return plain((minutes * Decimal(repr(ratio))).quantize(EACH_STEP))


def _change_percent(now: StandardMinutes, proposed: StandardMinutes) -> float:
    """By the larger of the two figures, for which rounding matters least."""
    before, after = max(zip(now, proposed, strict=True))
    return round(float(after / before - 1) * 100, 1) if before else 0.0


def _stations(found: Review) -> Iterator[StationSpreadAnswer]:
    believed, learnt = found.believed_spreads, found.learnt_spreads
    for station in found.catalogue.stations:
        jobs = sum(one.jobs for cell, one in found.learnt.items() if cell.station == station.id)
        yield StationSpreadAnswer(
            station=station.id,
            name=station.name,
            spread=believed[station.id],
            learnt_spread=round(learnt[station.id], _DIGITS),
            jobs=jobs,
        )
