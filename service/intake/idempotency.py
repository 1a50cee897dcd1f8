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

from pydantic import BaseModel
from sqlalchemy import delete
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col

from service.domain.errors import BadInput, Conflict, Gone, ServiceError
from service.intake.services import Services
from service.store.tables import StoredAnswer

KEPT_FOR = timedelta(hours=48)
"""How long an idempotency key is remembered; afterwards it counts as new."""


RESERVED = 409
"""Status of a row whose work is still running; replaced before the transaction ends."""


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
        return services.database.write(lambda session: _once(services, session, key, work, refusal))
    except IntegrityError:
        # Two requests with one key met: the other has committed by now, so this one replays it.
        return services.database.write(lambda session: _once(services, session, key, work, refusal))


def _once(
    services: Services, session: Session, request: RequestKey, work: Work, refusal: RefusalWriter
) -> Outcome:
    now = services.clock()
    kept = session.get(StoredAnswer, (request.caller, request.key))
    if kept is not None and kept.expires_at > now:
        return _replay(kept, request)
    if kept is not None:
        _forget(session, kept)
    row = StoredAnswer(
        caller=request.caller,
        key=request.key,
        fingerprint=request.fingerprint,
        status=RESERVED,
        headers_json="{}",
        body_json="",
        created_at=now,
        expires_at=now + KEPT_FOR,
    )
    session.add(row)
    session.flush()
    outcome = _attempt(session, work, refusal)
    row.status = outcome.status
    row.headers_json = json.dumps(dict(outcome.headers))
    row.body_json = outcome.body_json
    session.add(row)
    return outcome


def _forget(session: Session, expired: StoredAnswer) -> None:
    """Delete the row, unless another request with the key has done so at the same time."""
    session.expunge(expired)
    session.exec(
        delete(StoredAnswer).where(
            col(StoredAnswer.caller) == expired.caller,
            col(StoredAnswer.key) == expired.key,
            col(StoredAnswer.expires_at) == expired.expires_at,
        )
    )


def _attempt(session: Session, work: Work, refusal: RefusalWriter) -> Outcome:
    try:
        with session.begin_nested():
            return work(session)
    except (BadInput, Conflict, Gone) as refused:
        if refused.faults:
            raise
        return refusal(refused)


def _replay(kept: StoredAnswer, request: RequestKey) -> Outcome:
    if kept.fingerprint != request.fingerprint:
        raise BadInput(
            "idempotency-key-reused",
            "This Idempotency-Key came before with a different request. Use a new key for a new "
            "request, or send the first request again unchanged.",
        )
    return Outcome(kept.status, kept.body_json, json.loads(kept.headers_json), replayed=True)
