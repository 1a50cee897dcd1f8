"""Do once what a caller may send twice: work, answer and key are kept in one transaction.

A key is looked up together with its caller, so two callers never meet. The same key with another
request is refused. Deterministic refusals are kept like successes; faults of single fields and
anything else leave no trace, and the caller may correct the request and try again with the same
key. Kept answers expire after ``KEPT_FOR``.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import timedelta
from functools import lru_cache
from typing import Any, Final

from pydantic import BaseModel
from sqlalchemy import Row, bindparam, select, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import IntegrityError
from sqlalchemy.sql.dml import ReturningInsert
from sqlmodel import Session

from service.domain.errors import BadInput, Conflict, Gone, ServiceError
from service.intake.services import Services
from service.store.core import table_of
from service.store.tables import StoredAnswer

KEPT_FOR = timedelta(hours=48)
"""How long an idempotency key is remembered; afterwards it counts as new."""


RESERVED = 409
"""Status of a row whose work is still running; replaced before the transaction ends."""

_ANSWERS: Final = table_of(StoredAnswer)
_NAMED: Final = (_ANSWERS.c.caller == bindparam("of"), _ANSWERS.c.key == bindparam("under"))
_KEPT: Final = select(_ANSWERS).where(*_NAMED)
_ANSWER: Final = (
    update(_ANSWERS)
    .where(*_NAMED)
    .values(
        status=bindparam("outcome"), headers_json=bindparam("headers"), body_json=bindparam("body")
    )
)


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
RefusalWriter = Callable[[ServiceError], Outcome]


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
    named = {"of": request.caller, "under": request.key}
    connection, now = session.connection(), services.clock()
    reserve = _reserving(connection.dialect.name)
    row = {
        "caller": request.caller,
        "key": request.key,
        "fingerprint": request.fingerprint,
        "status": RESERVED,
        "headers_json": "{}",
        "body_json": "",
        "created_at": now,
        "expires_at": now + KEPT_FOR,
    }
    # Of two requests with one key the second waits here until the first has ended.
    while connection.execute(reserve, row).first() is None:
        kept = connection.execute(_KEPT, named).first()
        if kept is not None:
            return _replay(kept, request)
    outcome = _attempt(session, work)
    answer = {
        "outcome": outcome.status,
        "headers": json.dumps(dict(outcome.headers)),
        "body": outcome.body_json,
    }
    connection.execute(_ANSWER, named | answer)
    return outcome


@lru_cache(maxsize=2)
def _reserving(dialect: str) -> ReturningInsert[tuple[str]]:
    """An insert that takes a key nobody has, or whose time is over, and then gives it back."""
    insert = postgresql.insert(_ANSWERS) if dialect == "postgresql" else sqlite.insert(_ANSWERS)
    key = [column.name for column in _ANSWERS.primary_key]
    others = [column.name for column in _ANSWERS.columns if not column.primary_key]
    taking = insert.on_conflict_do_update(
        index_elements=key,
        set_={name: insert.excluded[name] for name in others},
        where=_ANSWERS.c.expires_at <= insert.excluded.created_at,
    )
    return taking.returning(_ANSWERS.c.key)


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
