"""Checks: does it work, why not, and what would."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import Query
from starlette.responses import Response

from service.domain.wishes import Line
from service.intake.answers import CheckAnswer
from service.intake.check import LineVerdict, all_work, check_answer, judge_lines
from service.intake.requests import ANY_METHOD, CheckRequest, LineRequest
from service.intake.resolve import artwork_ids, resolve_lines
from service.web.application import new_router
from service.web.parts import AnyCaller, RoomsPart, artworks_for, json_answer

router = new_router("checks", "/v1")

Judged = tuple[tuple[Line, ...], tuple[LineVerdict, ...]]

AT_ONCE = 12
"""Up to so many verdicts are worked out on the event loop; each takes about a third of a
millisecond, and method "any" takes one for each method of the shop."""


@router.post("/checks", summary="Check whether lines can be made", response_model=CheckAnswer)
async def check_lines(
    rooms: RoomsPart,
    caller: AnyCaller,
    body: CheckRequest,
    explain: Annotated[
        Literal["findings", "all"],
        Query(description="'all' accounts for every rule, also those that passed."),
    ] = "findings",
) -> Response:
    """Judge every decoration of every line.

    An impossible wish is a 200 with `works: false`, the smallest sets of choices that clash and
    the nearest choices that work. Method `any` tries them all and chooses the best.
    """
    compiled = rooms.services.catalogues.current
    artworks = await artworks_for(rooms, caller, artwork_ids(body.lines))
    explain_all = explain == "all"

    def judge() -> Judged:
        lines = resolve_lines(compiled, body.lines, artworks)
        return lines, judge_lines(compiled, lines)

    many = _verdicts(body.lines, len(compiled.chains)) > AT_ONCE
    lines, verdicts = await rooms.computing(judge) if many else judge()

    def answer() -> CheckAnswer:
        return check_answer(compiled, lines, verdicts, explain_all=explain_all)

    quick = all_work(verdicts) and not many
    return json_answer(answer() if quick else await rooms.computing(answer))


def _verdicts(lines: tuple[LineRequest, ...], methods: int) -> int:
    decorations = [decoration for line in lines for decoration in line.decorations]
    return sum(methods if one.method == ANY_METHOD else 1 for one in decorations)
