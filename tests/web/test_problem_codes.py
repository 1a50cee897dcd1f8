"""Every error code that the service raises has its own kind of problem."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import service
from service.web.problem_kinds import KINDS

ELSEWHERE = {
    # Only the command line can be answered with these.
    "invalid-key",
    "key-not-found",
    "store-not-ready",
    # Answered as the general kind, with the code as ``reason``.
    "delivery-not-found",
}
RAISED = {"BadInput", "NotFound", "Conflict", "Gone", "Unavailable", "Refusal"}


def raised_codes() -> Iterator[tuple[str, str]]:
    """File and code of each error that is made with a literal code."""
    for path in sorted(Path(service.__file__).parent.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                [code, *_] = [*node.args[:1], None]
                if node.func.id in RAISED and isinstance(code, ast.Constant):
                    yield path.name, str(code.value)


def test_each_raised_code_has_its_kind() -> None:
    """A new kind must document type, title and status (RFC 9457 section 4)."""
    codes = list(raised_codes())
    assert len(codes) > 20
    assert [pair for pair in codes if pair[1] not in KINDS.keys() | ELSEWHERE] == []
