"""Who is signed in at the bench, and that a form was sent by them and nobody else.

The cookie holds the session's secret and goes back to the bench pages alone: HttpOnly, SameSite
Strict, Secure where the public address is https (RFC 6265, section 4.1.2; SameSite by its
successor's draft; from memory). Every form besides carries a token made of that secret, which a
page elsewhere cannot know, and a browser that says the form comes from another site is refused.
"""

from __future__ import annotations

import hashlib
import hmac
import re
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Annotated, Final
from urllib.parse import urlsplit

from fastapi import Depends
from starlette.requests import Request
from starlette.responses import Response

from service.intake.services import Caller
from service.store.bench_sessions import SESSION_LASTS, SignedIn, live_session
from service.web.parts import Rooms, RoomsPart

COOKIE: Final = "bench_session"
COOKIE_LASTS: Final = 4 * SESSION_LASTS
"""Longer than the session, so that whoever comes back is told that it has ended."""

ATTEMPTS_MAX: Final = 10
ATTEMPTS_WITHIN: Final = timedelta(minutes=5)
ADDRESSES_MAX: Final = 10_000

_COOKIE_VALUE = re.compile(r"[A-Za-z0-9_-]{43}", re.ASCII)
_OWN_SITES = ("", "same-origin", "none")


class SignInNeeded(Exception):
    """Nobody is signed in; ``ended`` says that someone was."""

    def __init__(self, *, ended: bool) -> None:
        """Keep whether there was a session."""
        super().__init__("sign in")
        self.ended = ended


class ForeignForm(Exception):
    """The form was not made by a page of this session."""


@dataclass(frozen=True, slots=True)
class Visit:
    """Someone at the bench: who they are, and the token that their forms carry."""

    who: str
    holder: str
    form_token: str

    @property
    def caller(self) -> Caller:
        """The person as the use cases know callers."""
        return Caller(self.holder, in_shop=True)


async def _visit(request: Request, rooms: RoomsPart) -> Visit:
    secret = session_secret(request)
    if secret is None:
        raise SignInNeeded(ended=False)
    found = await _look_up(rooms, secret)
    if found is None:
        raise SignInNeeded(ended=True)
    return Visit(found.who, found.holder, form_token(secret))


VisitPart = Annotated[Visit, Depends(_visit)]
"""Who is signed in, for a handler's signature; raises ``SignInNeeded``."""


async def _look_up(rooms: Rooms, secret: str) -> SignedIn | None:
    services = rooms.services
    now = services.clock()
    return await rooms.in_store(
        lambda: services.database.read(lambda session: live_session(session, secret, now))
    )


def session_secret(request: Request) -> str | None:
    """The session's secret from the cookie; None without one that could be ours."""
    value = request.cookies.get(COOKIE, "")
    return value if _COOKIE_VALUE.fullmatch(value) else None


def form_token(secret: str) -> str:
    """What the session's forms carry; it tells nothing of the secret (HMAC, RFC 2104)."""
    return hmac.new(secret.encode("ascii"), b"bench form", hashlib.sha256).hexdigest()


def check_form(request: Request, visit: Visit, fields: Mapping[str, str]) -> None:
    """Raise ``ForeignForm`` unless a page of this session made the form."""
    refuse_other_sites(request)
    given = fields.get("token", "").encode()
    if not hmac.compare_digest(given, visit.form_token.encode()):
        raise ForeignForm


def refuse_other_sites(request: Request) -> None:
    """Raise ``ForeignForm`` where the browser says that another site sent it (Sec-Fetch-Site)."""
    if request.headers.get("sec-fetch-site", "") not in _OWN_SITES:
        raise ForeignForm


def root_of(request: Request) -> str:
    """The path under which the service is reached from outside; empty at the top of its host."""
    public_url: str = request.app.state.public_url
    return urlsplit(public_url).path.rstrip("/")


def keep_session(request: Request, response: Response, secret: str) -> None:
    """Give the browser its session."""
    _set_cookie(request, response, secret, COOKIE_LASTS)


def forget_session(request: Request, response: Response) -> None:
    """Take it back."""
    _set_cookie(request, response, "", timedelta(0))


def _set_cookie(request: Request, response: Response, value: str, lasts: timedelta) -> None:
    response.set_cookie(
        COOKIE,
        value,
        max_age=int(lasts.total_seconds()),
        path=f"{root_of(request)}/bench",
        secure=str(request.app.state.public_url).startswith("https:"),
        httponly=True,
        samesite="strict",
    )


class AttemptLimit:
    """Refused sign-ins by address: after so many within a span, it is told to wait.

    Keys of 256 random bits cannot be guessed, so nobody with a good key is kept out: behind a proxy
    or a router all of a shop share one address, and a stranger could lock them out by refusals.
    One process and one event loop; beyond ``ADDRESSES_MAX`` the address seen longest ago is
    forgotten.
    """

    def __init__(self, clock: Callable[[], datetime]) -> None:
        """``clock`` gives aware UTC."""
        self._clock = clock
        self._refused: OrderedDict[str, tuple[datetime, int]] = OrderedDict()

    def wait_s(self, address: str) -> int:
        """Whole seconds until the address may try again; 0 for at once."""
        since, count = self._refused.get(address, (self._clock(), 0))
        left = since + ATTEMPTS_WITHIN - self._clock()
        if count < ATTEMPTS_MAX or left <= timedelta(0):
            return 0
        return max(1, int(left.total_seconds()))

    def note_refusal(self, address: str) -> None:
        """Count one refused sign-in."""
        now = self._clock()
        since, count = self._refused.pop(address, (now, 0))
        if now - since >= ATTEMPTS_WITHIN:
            since, count = now, 0
        self._refused[address] = (since, count + 1)
        while len(self._refused) > ADDRESSES_MAX:
            self._refused.popitem(last=False)
