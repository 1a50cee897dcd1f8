"""The probes: health+json (inadarei draft 06)."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from service.web.health import Check, health_router


async def well() -> bool:
    """A check that passes."""
    return True


async def ill() -> bool:
    """A check that fails."""
    return False


async def broken() -> bool:
    """A check that cannot be made."""
    raise OSError("host db-7 refused")


async def stuck() -> bool:
    """A check that never ends."""
    await asyncio.Event().wait()
    return True


def probe(path: str, checks: Mapping[str, Check]) -> Any:
    """The answer of a probe with these checks."""
    app = FastAPI()
    app.include_router(health_router(checks, timeout_s=0.01))
    return TestClient(app).get(path)


def test_living_process_asks_nobody() -> None:
    """/livez answers 200 though every check fails."""
    answer = probe("/livez", {"store:answers": ill})
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/health+json"
    assert answer.json() == {"status": "pass"}


def test_ready_when_all_checks_pass() -> None:
    """/readyz answers 200 with an array for each check (draft section 4)."""
    answer = probe("/readyz", {"store:answers": well, "store:migrations": well})
    assert answer.status_code == 200
    assert answer.json() == {
        "status": "pass",
        "checks": {"store:answers": [{"status": "pass"}], "store:migrations": [{"status": "pass"}]},
    }


@pytest.mark.parametrize("check", [ill, broken, stuck])
def test_not_ready_when_one_fails(check: Check) -> None:
    """A check that fails, breaks or hangs gives 503, and tells strangers nothing more."""
    answer = probe("/readyz", {"store:answers": well, "sender:alive": check})
    assert answer.status_code == 503
    assert answer.json() == {
        "status": "fail",
        "checks": {"store:answers": [{"status": "pass"}], "sender:alive": [{"status": "fail"}]},
    }


def test_probes_need_no_key(stranger: TestClient) -> None:
    """Health routes are outside of authentication."""
    assert stranger.get("/livez").status_code == 200
    assert stranger.get("/readyz").status_code == 200
