"""Who calls, and what they may do: bearer keys (RFC 6750, from memory) and scopes.

Scopes are no ladder: each operation names those it admits. The owner may do everything.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Awaitable, Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Generic, TypeVar

from fastapi.routing import RouteContext
from fastapi.security import HTTPBearer
from fastapi.security.base import SecurityBase
from starlette.requests import Request

from service.web.problems import CHALLENGE, Refusal
from service.web.routes import dependency_calls

Given = TypeVar("Given")


class Scope(StrEnum):
    """What a key is for."""

    STOREFRONT = "storefront"
    STAFF = "staff"
    OWNER = "owner"


@dataclass(frozen=True, slots=True)
class Principal:
    """The caller: whose things they see (``holder``), with which scope, by which key."""

    holder: str
    scope: Scope
    key_id: str


@dataclass(frozen=True, slots=True)
class LiveKey:
    """A key that is in force now, and until when; None means without end."""

    principal: Principal
    expires_at: datetime | None = None


KeyLookup = Callable[[str], Awaitable[LiveKey | None]]
"""Finds the key that was presented, if it is in force; else None."""

BEARER = HTTPBearer(
    scheme_name="key",
    description="A key made with 'garment-intake keys', sent as Authorization: Bearer KEY.",
    auto_error=False,
)
_PLAUSIBLE = re.compile(r"[A-Za-z0-9._~+/=-]{1,200}")


class KeyCache:
    """Keys found lately, so that a call rarely waits for the store.

    Only keys in force are kept, under the SHA-256 of what was presented, for ``ttl_s`` seconds or
    until they expire; so a withdrawn key may pass for that long. Beyond ``capacity`` the oldest
    goes. One event loop at a time.
    """

    def __init__(
        self,
        lookup: KeyLookup,
        clock: Callable[[], datetime],
        *,
        ttl_s: int = 10,
        capacity: int = 10_000,
    ) -> None:
        self._lookup = lookup
        self._clock = clock
        self._ttl = timedelta(seconds=ttl_s)
        self._capacity = capacity
        self._kept: dict[bytes, tuple[datetime, Principal]] = {}

    async def principal(self, presented: str) -> Principal | None:
        """Whose key was ``presented``, or None if no key in force is."""
        digest = hashlib.sha256(presented.encode()).digest()
        kept = self._kept.get(digest)
        if kept is not None and self._clock() < kept[0]:
            return kept[1]
        self._kept.pop(digest, None)
        found = await self._lookup(presented)
        if found is None:
            return None
        self._keep(digest, found)
        return found.principal

    def __len__(self) -> int:
        return len(self._kept)

    def _keep(self, digest: bytes, found: LiveKey) -> None:
        until = self._clock() + self._ttl
        if found.expires_at is not None:
            until = min(until, found.expires_at)
        while len(self._kept) >= self._capacity:
            del self._kept[next(iter(self._kept))]
        self._kept[digest] = (until, found.principal)


class Require(SecurityBase, Generic[Given]):
    """A dependency that admits callers of certain scopes and the owner; gives ``given`` of them.

    It reads the header itself, as ``BEARER`` would: each dependency more costs every request time.
    """

    def __init__(self, scopes: Iterable[Scope], given: Callable[[Principal], Given]) -> None:
        self.model = BEARER.model
        self.scheme_name = BEARER.scheme_name
        self.scopes = frozenset({*scopes, Scope.OWNER})
        self._given = given

    async def __call__(self, request: Request) -> Given:
        """The caller; raises ``Refusal``: 401 without a key in force, 403 without the scope."""
        credentials = await BEARER(request)
        if credentials is None:
            detail = "Send a key: Authorization: Bearer KEY."
            raise Refusal("key-missing", detail, headers={"WWW-Authenticate": CHALLENGE})
        principal = await _principal(request, credentials.credentials)
        if principal is None:
            raise _key_refused()
        if principal.scope not in self.scopes:
            raise self._scope_missing()
        return self._given(principal)

    def _scope_missing(self) -> Refusal:
        admitted = sorted(self.scopes)
        challenge = f'{CHALLENGE}, error="insufficient_scope", scope="{" ".join(admitted)}"'
        return Refusal(
            "scope-missing",
            f"This operation takes a key of scope {' or '.join(admitted)}.",
            extra={"scopes": admitted},
            headers={"WWW-Authenticate": challenge},
        )


def require(*scopes: Scope) -> Require[Principal]:
    """A dependency that admits callers of ``scopes`` and the owner, and gives the ``Principal``.

    ``caller: Annotated[Principal, Depends(require(Scope.STAFF))]``; with no scope named, the owner
    alone. Keys are looked up through ``app.state.keys``, a ``KeyCache``.
    """
    return Require(scopes, lambda principal: principal)


def scopes_of(route: RouteContext) -> frozenset[Scope] | None:
    """The scopes that ``route`` admits, or None if it is open to everyone."""
    for call in dependency_calls(route):
        if isinstance(call, Require):
            return call.scopes
    return None


async def _principal(request: Request, presented: str) -> Principal | None:
    if len(request.headers.getlist("authorization")) != 1 or not _PLAUSIBLE.fullmatch(presented):
        return None
    keys: KeyCache = request.app.state.keys
    return await keys.principal(presented)


def _key_refused() -> Refusal:
    return Refusal(
        "key-refused",
        "The key is unknown, has expired or was withdrawn.",
        headers={"WWW-Authenticate": f'{CHALLENGE}, error="invalid_token"'},
    )
