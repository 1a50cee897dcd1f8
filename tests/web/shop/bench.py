"""The bench as its people use it: pieces entered, steps ticked, tickets moved on."""

from __future__ import annotations

from typing import Any

from httpx2 import Response

from tests.web.shop.door import Caller, Json, answered


def act(caller: Caller, number: str, what: str, body: Json, **headers: str) -> Response:
    """Do something to a ticket; header names have underscores for hyphens."""
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return caller.post(f"/v1/tickets/{number}/{what}", {"who": "Ada", **body}, named)


def enter(caller: Caller, number: str, kind: str, size: str, count: int = 1, **more: Any) -> Json:
    """Enter pieces, which must be possible; gives the ticket."""
    body = {"kind": kind, "size": size, "count": count, **more}
    return answered(act(caller, number, "pieces", body), 201)


def spoil(caller: Caller, number: str, size: str, count: int = 1) -> Json:
    """Enter scorched pieces; gives the ticket."""
    return enter(caller, number, "spoiled", size, count, reason="scorched")


def all_good(caller: Caller, number: str) -> Json:
    """Enter every piece still to come as made well; gives the ticket."""
    ticket = answered(caller.get(f"/v1/tickets/{number}"), 200)
    for size, count in ticket["pieces"].items():
        if count["remaining"]:
            ticket = enter(caller, number, "done", size, count["remaining"])
    return ticket


def go(caller: Caller, number: str, *moves: str) -> Json:
    """Make legal moves one after the other, all pieces good before finishing; gives the ticket."""
    ticket: Json = {}
    for move in moves:
        if move == "finish":
            all_good(caller, number)
        ticket = answered(caller.move(number, move), 201)
    return ticket


def ticked(caller: Caller, number: str, step: str, *, done: bool = True) -> Json:
    """Tick a step off or take it back; gives the ticket."""
    return answered(act(caller, number, "ticks", {"step_key": step, "done": done}), 201)


def reason_of(problem: Json) -> str:
    """The code of a problem: that of its kind, or told beside a general one."""
    code: str = problem.get("reason") or problem["type"].rpartition("/")[2]
    return code


def conflict(response: Response, code: str) -> Json:
    """The members of a 409 that must be for this reason."""
    problem = answered(response, 409)
    assert reason_of(problem) == code, problem
    return problem
