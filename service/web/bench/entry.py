"""Signing in and out, and the pages' own files."""

from __future__ import annotations

import re
from http import HTTPStatus
from typing import Final

from fastapi import FastAPI
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from service.store.bench_sessions import (
    SECRET_BYTES,
    end_session,
    format_secret,
    open_session,
    opens_bench,
)
from service.web.bench.rendering import ASSETS, asset, asset_mark, bench_page
from service.web.bench.routing import bench_router, read_form
from service.web.bench.session import (
    AttemptLimit,
    VisitPart,
    check_form,
    forget_session,
    form_token,
    keep_session,
    refuse_other_sites,
    root_of,
    session_secret,
)
from service.web.parts import Rooms, RoomsPart
from service.web.problems import Refusal

router = bench_router()

WHO_MAX: Final = 64
KEPT_S: Final = 31_536_000

_BACK = re.compile(r"/bench(?:/[A-Za-z0-9_-]+)*(?:\?[A-Za-z0-9_=&%.+-]*)?", re.ASCII)


@router.get("/assets/{name}")
async def assets(request: Request, name: str) -> Response:
    """Style, script and icon; open to everyone, for sign-in needs them."""
    if name not in ASSETS:
        raise Refusal("path-unknown", "There is no file of that name.")
    current = request.query_params.get("v") == asset_mark(name)
    keep = f"public, max-age={KEPT_S}, immutable" if current else "no-cache"
    return Response(asset(name), media_type=ASSETS[name], headers={"Cache-Control": keep})


@router.get("/sign-in")
async def sign_in_page(request: Request) -> Response:
    """The form, with the page to come back to."""
    query = request.query_params
    return _sign_in_page(request, back=query.get("back", ""), ended=query.get("ended") == "1")


@router.post("/sign-in")
async def sign_in(request: Request, rooms: RoomsPart) -> Response:
    """Open a session for a person with a key of staff or the owner."""
    refuse_other_sites(request)
    fields = await read_form(request)
    who = " ".join(fields.get("who", "").split())
    if not who or len(who) > WHO_MAX or not who.isprintable():
        fault = f"Give your name or initials, {WHO_MAX} characters at most."
        return _refused_sign_in(request, fault, HTTPStatus.UNPROCESSABLE_ENTITY)
    secret = await _opened(rooms, fields.get("key", "").strip(), who)
    return _refused_key(request, rooms) if secret is None else _signed_in(request, secret)


def _refused_key(request: Request, rooms: Rooms) -> Response:
    """Say that the key opens nothing; after many such, also to wait before the next."""
    limit, address = _limit(request.app, rooms), request.client.host if request.client else ""
    wait_s = limit.wait_s(address)
    if wait_s:
        fault = (
            "This key opens no bench, and neither did the last ones. Wait "
            f"{wait_s} seconds before you try another; a good key is taken at once."
        )
        answer = _refused_sign_in(request, fault, HTTPStatus.TOO_MANY_REQUESTS)
        answer.headers["Retry-After"] = str(wait_s)
        return answer
    limit.note_refusal(address)
    fault = "This key opens no bench: it is unknown, is over, or is not one of staff."
    return _refused_sign_in(request, fault, HTTPStatus.FORBIDDEN)


@router.post("/sign-out")
async def sign_out(request: Request, rooms: RoomsPart, visit: VisitPart) -> Response:
    """End the session."""
    check_form(request, visit, await read_form(request))
    secret, database = session_secret(request) or "", rooms.services.database
    await rooms.in_store(lambda: database.write(lambda session: end_session(session, secret)))
    answer = RedirectResponse(f"{root_of(request)}/bench/sign-in", HTTPStatus.SEE_OTHER)
    forget_session(request, answer)
    return answer


async def _opened(rooms: Rooms, key: str, who: str) -> str | None:
    """The secret of a new session, or None when the key opens none."""
    services = rooms.services
    now = services.clock()
    # Reading first: a key that opens nothing never waits for, nor holds, the one place to write.
    known = await rooms.in_store(
        lambda: services.database.read(lambda session: opens_bench(session, key, now))
    )
    if not known:
        return None
    secret = format_secret(services.random_bytes(SECRET_BYTES))
    opened = await rooms.in_store(
        lambda: services.database.write(
            lambda session: open_session(
                session, presented_key=key, who=who, now=now, secret=secret
            )
        )
    )
    return secret if opened else None


def _signed_in(request: Request, secret: str) -> Response:
    """Back to where one was; a note that came too late is shown first."""
    fields = request.state.bench_form
    back = f"{root_of(request)}{_safe(fields.get('back', ''))}"
    note = fields.get("note", "").strip()
    if note:
        answer: Response = bench_page(
            request,
            "kept.html",
            None,
            title="Signed in",
            back=back,
            note=note,
            of_ticket="/bench/tickets/" in back,
            token=form_token(secret),
        )
    else:
        answer = RedirectResponse(back, HTTPStatus.SEE_OTHER)
    keep_session(request, answer, secret)
    return answer


def _safe(back: str) -> str:
    """A page of the bench to go back to; the queue for anything else."""
    return back if _BACK.fullmatch(back) and not back.startswith("/bench/sign") else "/bench"


def _refused_sign_in(request: Request, fault: str, status: int) -> Response:
    fields = request.state.bench_form
    who, back = fields.get("who", "")[:WHO_MAX], fields.get("back", "")
    return _sign_in_page(
        request, back=back, who=who, fault=fault, status=status, note=fields.get("note", "")
    )


def _sign_in_page(
    request: Request,
    *,
    back: str,
    ended: bool = False,
    who: str = "",
    fault: str = "",
    status: int = HTTPStatus.OK,
    note: str = "",
) -> Response:
    return bench_page(
        request,
        "sign_in.html",
        None,
        status=status,
        title="Sign in",
        back=_safe(back),
        ended=ended,
        who=who,
        fault=fault,
        note=note,
    )


def _limit(app: FastAPI, rooms: Rooms) -> AttemptLimit:
    """The application's own count of refused sign-ins, made when first asked for."""
    limit: AttemptLimit | None = getattr(app.state, "bench_attempts", None)
    if limit is None:
        limit = app.state.bench_attempts = AttemptLimit(rooms.services.clock)
    return limit
