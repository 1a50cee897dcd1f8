"""The rules: what each weighs, what it may say, and the thresholds in force."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from service.intake.rule_views import RuleAnswer, RulesAnswer, rule_answer, rules_answer
from service.web.application import new_router
from service.web.openapi import problems
from service.web.parts import AnyCaller, RoomsPart, tagged_answer

router = new_router("rules", "/v1")

_UNCHANGED = {"description": "Unchanged since that ETag"}


@router.get(
    "/rules",
    summary="List the rules",
    response_model=RulesAnswer,
    responses={304: _UNCHANGED},
)
async def list_rules(request: Request, rooms: RoomsPart, _: AnyCaller) -> Response:
    """Every rule in the order in which they run, with the thresholds of the catalogue in force.

    A rule is a caution, no statement on what any law asks; data sheets and local codes come first.
    """
    compiled = rooms.services.catalogues.current
    return tagged_answer(request, rules_answer(compiled, request.app.state.public_url))


@router.get(
    "/rules/{rule_id}",
    summary="Show a rule",
    response_model=RuleAnswer,
    responses={304: _UNCHANGED, **problems("rule-not-found")},
)
async def show_rule(request: Request, rooms: RoomsPart, _: AnyCaller, rule_id: str) -> Response:
    """One rule, with the thresholds of the catalogue in force; findings name rules by their id.

    A rule is a caution, no statement on what any law asks; data sheets and local codes come first.
    """
    compiled = rooms.services.catalogues.current
    return tagged_answer(request, rule_answer(compiled, rule_id, request.app.state.public_url))
