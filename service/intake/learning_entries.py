"""Minutes that work took, entered by the hands: an optional note of their own on a ticket's step.

An entry is kept beside what was planned for the same pieces when they were quoted. It changes
nothing of the ticket, so it raises no version and nobody is told; what it teaches waits for the
owner (:mod:`service.intake.standard_minutes`). Nothing is struck out: a mistaken entry is corrected
by another that takes its place.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

from sqlmodel import Session, col, select

from service.domain.errors import BadInput, Conflict, FieldFault
from service.domain.shop import Catalogue
from service.domain.standard_minutes import (
    NamedOperation,
    StandardMinutes,
    all_operations,
    as_written,
    operations_of,
    plain,
)
from service.domain.ticket import TicketDocument
from service.domain.ticket_states import TicketState
from service.domain.ticket_steps import StepKind, TicketStep, step_key
from service.domain.wishes import Decoration
from service.domain.work import ONCE_PER_LINE, OutlineUnknown, minutes_each
from service.intake.artwork_shelf import ShelvedArtwork
from service.intake.bench_work import IN_HAND, at_bench
from service.intake.learning_answers import (
    MinutesEntryAnswer,
    TicketMinutesAnswer,
    TimedStepAnswer,
)
from service.intake.learning_requests import MinutesRequest
from service.intake.learning_rows import accepted_minutes, minutes_of, ms_of, parts_of
from service.intake.names import unknown_name
from service.intake.services import Services
from service.intake.ticket_rows import document_of, find_ticket
from service.store.tables import Order, Quote, RecordedMinutes, Ticket

TIMED = (*IN_HAND, TicketState.SENT)
"""Where minutes are entered: also once all is sent, for some write them down in the evening."""


@dataclass(frozen=True, slots=True)
class TimedStep:
    """A step at which a person works on pieces, and which operation of what decoration it is."""

    key: str
    named: NamedOperation
    decoration: Decoration

    @property
    def each_min(self) -> Decimal:
        """Planned minutes of a piece with a person at it."""
        return self.each_by(StandardMinutes.of(self.named.operation))

    def each_by(self, standard: StandardMinutes) -> Decimal:
        """The same by other standard minutes; ``OutlineUnknown`` as for a price."""
        attended = {"cut_m_min": Decimal(0), "print_m2_min": Decimal(0), **standard._asdict()}
        return minutes_each(self.named.operation.model_copy(update=attended), self.decoration)[0]


def record_minutes(
    services: Services, session: Session, number: str, request: MinutesRequest
) -> MinutesEntryAnswer:
    """Keep what pieces took at a step, in the caller's transaction.

    Raises ``bench-work-not-legal`` for a ticket that was not begun, ``minutes-corrected`` for an
    entry that was corrected before, ``BadInput`` for a step without standard minutes, for more
    pieces than the ticket has, and for an entry to correct that is not of this step.
    """
    bench = at_bench(session, number, None, TIMED, "Minutes are entered")
    ticket, document = bench.ticket, bench.document
    step = _step(timed_steps(services, session, ticket, document), document, request.step_key)
    _refuse_too_many(document, request.pieces)
    _refuse_other_corrections(session, ticket, request)
    written, written_each_min = _written(services, session, step)
    row = RecordedMinutes(
        ticket_id=ticket.id or 0,
        step_key=step.key,
        method=step.named.name.method,
        operation=step.named.name.operation,
        kind=step.named.operation.kind,
        station=step.named.operation.station,
        pieces=request.pieces,
        taken_ms=ms_of(request.minutes),
        standard_ms=ms_of(step.each_min) * request.pieces,
        written_ms=ms_of(written_each_min) * request.pieces,
        written_each_ms=ms_of(written.each_min),
        written_weed_e4=parts_of(written.weed_share),
        interrupted=request.interrupted,
        corrects_id=request.corrects,
        who=request.who,
        at=services.clock(),
    )
    session.add(row)
    session.flush()
    return _entry(row, {})


def minutes_of_ticket(services: Services, number: str) -> TicketMinutesAnswer:
    """Steps of the ticket whose minutes can be entered, and what was entered so far."""

    def look(session: Session) -> TicketMinutesAnswer:
        ticket = find_ticket(session, number)
        steps = timed_steps(services, session, ticket, document_of(ticket))
        rows = _rows(session, ticket)
        corrected = {row.corrects_id: row.id or 0 for row in rows}
        return TicketMinutesAnswer(
            ticket=ticket.number,
            steps=tuple(map(_timed, steps.values())),
            entries=tuple(_entry(row, corrected) for row in rows),
        )

    return services.database.read(look)


def timed_steps(
    services: Services, session: Session, ticket: Ticket, document: TicketDocument
) -> dict[str, TimedStep]:
    """The steps with standard minutes, by key, as the ticket's own catalogue version has them.

    A step that hangs on an outline nobody measured is left out, as is one of a ticket that was
    written before steps had keys.
    """
    quoted = select(Quote.catalogue_version).join(Order, col(Order.quote_id) == col(Quote.id))
    version = session.exec(quoted.where(Order.id == ticket.order_id)).one()
    catalogue = services.catalogues.of_version(session, version).catalogue
    artworks = services.artworks.fetch(session, {one.artwork_id for one in document.decorations})
    found = {}
    for step in document.steps:
        timed = _timed_step(catalogue, document, step, artworks)
        if timed is not None:
            found[step.key] = timed
    return found


def _timed_step(
    catalogue: Catalogue,
    document: TicketDocument,
    step: TicketStep,
    artworks: Mapping[str, ShelvedArtwork],
) -> TimedStep | None:
    at, named = next(_operations(catalogue, document, step), (0, None))
    if named is None or StandardMinutes.of(named.operation).nothing:
        return None
    shown = document.decorations[at]
    artwork = artworks.get(shown.artwork_id)
    if artwork is None:
        return None
    width_mm = shown.proof.width_mm if shown.proof else shown.width_mm
    decoration = Decoration(shown.placement_id, shown.artwork_id, artwork.measures, width_mm)
    timed = TimedStep(step.key, named, decoration)
    return timed if _known(timed, StandardMinutes.of(named.operation)) else None


def _known(step: TimedStep, standard: StandardMinutes) -> bool:
    try:
        return step.each_by(standard) > 0
    except OutlineUnknown:
        return False


def _operations(
    catalogue: Catalogue, document: TicketDocument, step: TicketStep
) -> Iterator[tuple[int, NamedOperation]]:
    """The operation that the step is, with its decoration's place; nothing for any other step.

    What is done once for a line is done as its last decoration has it.
    """
    last_first = range(len(document.decorations) - 1, -1, -1)
    places = last_first if step.decoration is None else (step.decoration,)
    for at in places:
        method = catalogue.method_by_id.get(document.decorations[at].method_id)
        for one in operations_of(method) if method else ():
            kind = one.operation.kind
            if kind in ONCE_PER_LINE:
                same = step.decoration is None and step.kind == StepKind(kind)
            else:
                same = step.key == step_key(at, one.index, StepKind(kind))
            if same:
                yield at, one


def _step(steps: Mapping[str, TimedStep], document: TicketDocument, key: str) -> TimedStep:
    if key in steps:
        return steps[key]
    if any(step.key == key for step in document.steps):
        named = ", ".join(steps) or "none"
        detail = (
            f"The step '{key}' has no standard minutes. Steps of this ticket that have: {named}."
        )
        code = "no-standard"
    else:
        detail = unknown_name("step", key, steps, " with standard minutes on this ticket")
        code = "unknown-name"
    raise _refused(detail, "step_key", code)


def _refuse_too_many(document: TicketDocument, pieces: int) -> None:
    most = sum(document.starts_by_size.values())
    if pieces > most:
        detail = (
            f"{pieces} pieces were entered; this ticket has blanks for {most}. Enter at most so "
            "many, and a remake's pieces on its own ticket."
        )
        raise _refused(detail, "pieces", "too-large")


def _refuse_other_corrections(session: Session, ticket: Ticket, request: MinutesRequest) -> None:
    """What is corrected is an entry of the same step, and was not corrected before."""
    if request.corrects is None:
        return
    rows = {row.id: row for row in _rows(session, ticket) if row.step_key == request.step_key}
    if request.corrects not in rows:
        known = ", ".join(str(id_) for id_ in rows) or "none"
        detail = f"There is no entry {request.corrects} of this step. Entries of it: {known}."
        raise _refused(detail, "corrects", "unknown-name")
    other = next((row for row in rows.values() if row.corrects_id == request.corrects), None)
    if other is not None:
        raise Conflict(
            "minutes-corrected",
            f"{other.who} corrected entry {request.corrects} before, by entry {other.id}. Correct "
            "that one if it is wrong too.",
            extra={"corrected_by": other.id},
        )


def _refused(detail: str, field: str, code: str) -> BadInput:
    fault = FieldFault(detail, path=(field,), code=code)
    return BadInput("fields-refused", detail, faults=[fault])


def _written(
    services: Services, session: Session, step: TimedStep
) -> tuple[StandardMinutes, Decimal]:
    """What the files say now of the operation, and what a piece takes by it.

    As the ticket has it where the operation is gone.
    """
    catalogue = services.catalogues.current.catalogue
    name = step.named.name
    cells = {one.name: one.cell for one in all_operations(catalogue)}
    if cells.get(name) == step.named.cell:
        written = as_written(catalogue, accepted_minutes(session))[name]
        if _known(step, written):
            return written, step.each_by(written)
    return StandardMinutes.of(step.named.operation), step.each_min


def _rows(session: Session, ticket: Ticket) -> list[RecordedMinutes]:
    entries = select(RecordedMinutes).where(RecordedMinutes.ticket_id == ticket.id)
    return list(session.exec(entries.order_by(col(RecordedMinutes.id))).all())


def _timed(step: TimedStep) -> TimedStepAnswer:
    return TimedStepAnswer(
        step_key=step.key,
        method=step.named.name.method,
        operation=step.named.name.operation,
        station=step.named.operation.station,
        standard_each_min=plain(step.each_min),
    )


def _entry(row: RecordedMinutes, corrected: Mapping[int | None, int]) -> MinutesEntryAnswer:
    return MinutesEntryAnswer(
        id=row.id or 0,
        step_key=row.step_key,
        method=row.method,
        operation=row.operation,
        station=row.station,
        pieces=row.pieces,
        minutes=minutes_of(row.taken_ms),
        standard_min=minutes_of(row.standard_ms),
        interrupted=row.interrupted,
        corrects=row.corrects_id,
        corrected_by=corrected.get(row.id),
        who=row.who,
        at=row.at,
    )
