"""Do once what a caller may send twice: work, answer and key are kept in one transaction.

A key is looked up together with its caller, so two callers never meet. The same key with another
request is refused. Deterministic refusals are kept like successes; faults of single fields and
anything else leave no trace, and the caller may correct the request and try again with the same
key. Kept answers expire after ``KEPT_FOR``.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, Final, NamedTuple

from pydantic import BaseModel
from sqlalchemy import Connection, Insert, Row, bindparam, delete, select
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from service.domain.errors import BadInput, Conflict, Gone, ServiceError, Unavailable
from service.intake.services import Services
from service.store.core import table_of
from service.store.database import lock_shop
from service.store.many_rows import StoreInsert, TableRows, write_rows, write_tables
from service.store.tables import StoredAnswer

KEPT_FOR = timedelta(hours=48)
"""How long an idempotency key is remembered; afterwards it counts as new."""


RESERVED = 409
"""Status of a row whose work is still running; replaced before the transaction ends."""

_ANSWERS: Final = table_of(StoredAnswer)
_NAMED: Final = (_ANSWERS.c.caller == bindparam("of"), _ANSWERS.c.key == bindparam("under"))
_KEPT: Final = select(_ANSWERS).where(*_NAMED)
_FORGET: Final = delete(_ANSWERS).where(*_NAMED)


@dataclass(frozen=True, slots=True)
class RequestKey:
    """An idempotency key, whose it is, and a fingerprint of the request it came with."""

    caller: str
    key: str
    fingerprint: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """Status, body and headers of an answer; ``replayed`` when it was given before."""

    status: int
    body_json: str
    headers: Mapping[str, str] = field(default_factory=dict)
    replayed: bool = False

    @classmethod
    def of(cls, status: int, body: BaseModel, **headers: str) -> Outcome:
        """An outcome from an answer model; header names use underscores for hyphens."""
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        return cls(status, body.model_dump_json(), named)


StoreSession = Session
"""What a use case works in, by a name that those above the store may use."""

Work = Callable[[StoreSession], Outcome]


class WorkedOn(NamedTuple):
    """Of each of some requests what came of it, or why it is refused.

    ``rows`` are still to be written; they are, together with the answers that are kept.
    """

    told: Sequence[Outcome | ServiceError]
    rows: Sequence[TableRows] = ()


WorkOnSome = Callable[[StoreSession, Sequence[int]], WorkedOn]
"""Work on the requests at some places, in their order."""

RefusalWriter = Callable[[ServiceError], Outcome]
RefusalAt = Callable[[int, ServiceError], Outcome]
"""The answer to what is refused, of the request at that place."""


def do_once(
    services: Services, request: RequestKey | None, work: Work, refusal: RefusalWriter
) -> Outcome:
    """Run ``work`` in one transaction, once per key; without a key, simply run it.

    ``refusal`` writes the answer to a deterministic refusal, which is then kept under the key.
    """
    if request is None:
        return services.database.write(work)
    key = request
    try:
        return _tried_twice(services, key, work)
    except _Undone as undone:
        told = refusal(undone.refusal)
    # Work and key are undone by now. Whoever has taken the key since then is replayed.
    return services.database.write(lambda session: _once(services, session, key, lambda _: told))


def do_each_once(
    services: Services, requests: Sequence[RequestKey], work: WorkOnSome, refusal: RefusalAt
) -> list[Outcome | ServiceError]:
    """Work on several requests in one transaction, each once per key; no two have the same key.

    ``work`` is given the places of those that are not answered yet, and holds the shop's lock. It
    says of each what came of it or why it was refused, and of what it refuses it writes nothing.
    Gives the same of each; where the store is away, all are told so. Any other exception leaves
    nothing of any of them, and each may be tried alone.
    """

    def do(session: Session) -> list[Outcome | ServiceError]:
        return _each_once(services, session, requests, work, refusal)

    try:
        return services.database.write(do)
    except Unavailable as away:
        return [away] * len(requests)
    except IntegrityError:
        if len(requests) > 1:
            raise
        # It met another in what may be there once. The other has committed by now, and is seen.
        return services.database.write(do)


def _each_once(
    services: Services,
    session: Session,
    requests: Sequence[RequestKey],
    work: WorkOnSome,
    refusal: RefusalAt,
) -> list[Outcome | ServiceError]:
    """Replay what is answered, work on the rest, and keep what came of it."""
    connection, now = session.connection(), services.clock()
    # Keys before the shop's lock, as :func:`do_once` has it, or the two could wait for each other.
    told = _reserve(connection, requests, now)
    fresh = [place for place in range(len(requests)) if place not in told]
    if fresh:
        lock_shop(session)
    answers: list[dict[str, Any]] = []
    worked = work(session, fresh) if fresh else WorkedOn(())
    for place, came in zip(fresh, worked.told, strict=True):
        outcome: Outcome | ServiceError = came
        if isinstance(came, (BadInput, Conflict, Gone)) and not came.faults:
            outcome = refusal(place, came)
        told[place] = outcome
        if isinstance(outcome, Outcome):
            answers.append(_row(requests[place], now, outcome))
        else:
            connection.execute(_FORGET, _named(requests[place]))
    write_tables(connection, [*worked.rows, TableRows(_ANSWERS, answers, _answering)])
    return [told[place] for place in range(len(requests))]


def _reserve(
    connection: Connection, requests: Sequence[RequestKey], now: datetime
) -> dict[int, Outcome | ServiceError]:
    """Take the keys that nobody has, or whose time is over; of the others what is told, by place.

    A key that another has just taken is waited for. All take theirs in one order, so that no two
    wait for each other.
    """
    told: dict[int, Outcome | ServiceError] = {}
    left = sorted(range(len(requests)), key=lambda at: (requests[at].caller, requests[at].key))
    while left:
        rows = [_row(requests[at], now, Outcome(RESERVED, "")) for at in left]
        taken = write_rows(connection, _ANSWERS, rows, _reserving)
        mine = {(row.caller, row.key) for row in taken}
        left = [at for at in left if (requests[at].caller, requests[at].key) not in mine]
        for at in left:
            row = connection.execute(_KEPT, _named(requests[at])).first()
            if row is not None:
                told[at] = _replayed(row, requests[at])
        left = [at for at in left if at not in told]
    return told


def _replayed(kept: Row[Any], request: RequestKey) -> Outcome | ServiceError:
    try:
        return _replay(kept, request)
    except ServiceError as refused:
        return refused


class _Undone(Exception):
    """The work was refused by the state of things, and is to be undone."""

    def __init__(self, refusal: ServiceError) -> None:
        super().__init__(refusal.code)
        self.refusal = refusal


def _tried_twice(services: Services, request: RequestKey, work: Work) -> Outcome:
    try:
        return services.database.write(lambda session: _once(services, session, request, work))
    except IntegrityError:
        # Two requests met in what may be there once. The other has committed by now, and is seen.
        return services.database.write(lambda session: _once(services, session, request, work))


def _once(services: Services, session: Session, request: RequestKey, work: Work) -> Outcome:
    """Reserve the key, work, and keep the answer; or replay the one that is kept."""
    named = _named(request)
    connection, now = session.connection(), services.clock()
    row = _row(request, now, Outcome(RESERVED, ""))
    # Of two requests with one key the second waits here until the first has ended.
    while write_rows(connection, _ANSWERS, [row], _reserving).first() is None:
        kept = connection.execute(_KEPT, named).first()
        if kept is not None:
            return _replay(kept, request)
    outcome = _attempt(session, work)
    write_rows(connection, _ANSWERS, [_row(request, now, outcome)], _answering)
    return outcome


def _named(request: RequestKey) -> dict[str, str]:
    return {"of": request.caller, "under": request.key}


def _reserving(insert: StoreInsert) -> Insert:
    """Take a key nobody has, or whose time is over, and then give it back."""
    key = [column.name for column in _ANSWERS.primary_key]
    others = [column.name for column in _ANSWERS.columns if not column.primary_key]
    reserved = insert.on_conflict_do_update(
        index_elements=key,
        set_={name: insert.excluded[name] for name in others},
        where=_ANSWERS.c.expires_at <= insert.excluded.created_at,
    )
    return reserved.returning(_ANSWERS.c.caller, _ANSWERS.c.key)


def _answering(insert: StoreInsert) -> Insert:
    """Put answers in the place of keys that were taken."""
    told = ("status", "headers_json", "body_json")
    key = [column.name for column in _ANSWERS.primary_key]
    return insert.on_conflict_do_update(
        index_elements=key, set_={name: insert.excluded[name] for name in told}
    )


def _row(request: RequestKey, now: datetime, outcome: Outcome) -> dict[str, Any]:
    return {
        "caller": request.caller,
        "key": request.key,
        "fingerprint": request.fingerprint,
        "status": outcome.status,
        "headers_json": json.dumps(dict(outcome.headers)),
        "body_json": outcome.body_json,
        "created_at": now,
        "expires_at": now + KEPT_FOR,
    }


def _attempt(session: Session, work: Work) -> Outcome:
    try:
        return work(session)
    except (BadInput, Conflict, Gone) as refused:
        if refused.faults:
            raise
        raise _Undone(refused) from refused


def _replay(kept: Row[Any], request: RequestKey) -> Outcome:
    if kept.fingerprint != request.fingerprint:
        raise BadInput(
            "idempotency-key-reused",
            "This Idempotency-Key came before with a different request. Use a new key for a new "
            "request, or send the first request again unchanged.",
        )
    return Outcome(kept.status, kept.body_json, json.loads(kept.headers_json), replayed=True)
