"""The pages that findings lead to: each rule in plain words, with the thresholds in force."""

from __future__ import annotations

import re
from collections.abc import Iterable
from html import escape

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import HTMLResponse

from service.intake.rule_views import (
    RULE_CAUTION,
    RuleAnswer,
    RulesAnswer,
    ThresholdAnswer,
    rule_answer,
    rules_answer,
)
from service.web.pages import page, page_answer
from service.web.parts import RoomsPart

KEPT_S = 300
"""Pages show thresholds of the catalogue in force, so they are not kept for long."""

router = APIRouter(include_in_schema=False)


@router.get("/rules")
async def rules_index(request: Request, rooms: RoomsPart) -> HTMLResponse:
    """The list of rules, open to everyone."""
    current = rooms.services.catalogues.current
    rules = rules_answer(current, request.app.state.public_url)
    return page_answer(rule_index(rules), kept_s=KEPT_S)


@router.get("/rules/{rule_id}")
async def one_rule(request: Request, rooms: RoomsPart, rule_id: str) -> HTMLResponse:
    """The page of one rule, open to everyone; a 404 problem where there is none."""
    current = rooms.services.catalogues.current
    rule = rule_answer(current, rule_id, request.app.state.public_url)
    return page_answer(rule_page(rule), kept_s=KEPT_S)


def rule_index(rules: RulesAnswer) -> str:
    """The page that lists every rule, in the order in which they run."""
    links = (
        f'<a href="rules/{escape(rule.id)}">{escape(rule.title)}</a> '
        f"(<code>{escape(rule.id)}</code>)"
        for rule in rules.rules
    )
    return page("Rules", _list(links) + _caution())


def rule_page(rule: RuleAnswer) -> str:
    """The page of one rule as HTML; parts that it does not have are left out."""
    can = "It may refuse a wish." if rule.may_block else "It notes and warns, and never refuses."
    return page(
        rule.title,
        f"<p>Rule <code>{escape(rule.id)}</code>. {can}</p>"
        f"<p>{escape(rule.explanation)}</p>"
        f"<p>Source: {escape(rule.source)}.</p>"
        + _part("What it reads", _list(escape(_words(choice)) for choice in rule.reads))
        + _part("What it may say", _list(map(_sentence, rule.reasons.values())))
        + _part("Thresholds of this shop", _thresholds(rule.policy))
        + _part("What usually helps", f"<p>{escape(rule.ways_out)}</p>" if rule.ways_out else "")
        + _caution()
        + '<p><a href="../rules">All rules</a></p>',
    )


def _part(heading: str, content: str) -> str:
    return f"<h2>{heading}</h2>{content}" if content else ""


def _list(entries: Iterable[str]) -> str:
    items = "".join(f"<li>{entry}</li>" for entry in entries)
    return f"<ul>{items}</ul>" if items else ""


def _sentence(template: str) -> str:
    """A template with what is filled in set off as a variable."""
    parts = re.split(r"\{([^{}]*)\}", template)
    return "".join(
        f"<var>{escape(_words(part))}</var>" if index % 2 else escape(part)
        for index, part in enumerate(parts)
    )


def _words(name: str) -> str:
    return name.removesuffix("_mm").replace("_", " ")


def _thresholds(policy: Iterable[ThresholdAnswer]) -> str:
    rows = "".join(map(_threshold, policy))
    heads = "".join(
        f'<th scope="col">{head}</th>' for head in ("Name", "Value", "A shop may set", "Default")
    )
    return f"<table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>" if rows else ""


def _threshold(threshold: ThresholdAnswer) -> str:
    start = "above" if threshold.least_excluded else "from"
    bounds = f"{start} {threshold.least:g} to {threshold.most:g}"
    return (
        f'<tr><th scope="row"><code>{escape(threshold.name)}</code></th>'
        f"<td>{threshold.value:g}</td><td>{bounds}</td><td>{threshold.default:g}</td></tr>"
    )


def _caution() -> str:
    return f"<p><strong>Caution.</strong> {escape(RULE_CAUTION)}</p>"
