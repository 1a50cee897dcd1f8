"""The demonstration, played to its end."""

from __future__ import annotations

from pathlib import Path

import pytest

from service.cli import main
from service.demo import with_live_ids
from service.web.examples import Example
from tests.demo_pictures import remember_demo_pictures


def test_the_main_job_is_played(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Refusal with ways out, two acceptances, quote, order, ticket, verified webhooks, next steps.

    It leaves nothing behind but its data folder, and can be played again on the same folder.
    """
    remember_demo_pictures(monkeypatch)
    folder = tmp_path / "demo"
    for number in ("T000001", "T000002"):
        assert main(["demo", "--leave", "--data", str(folder)]) == 0
        shown = capsys.readouterr().out
        assert "works: False" in shown
        assert "cannot all hold: method with colour (Dye needs a light surface)" in shown
        assert "cannot all hold: method with blank (Dye needs polyester)" in shown
        assert "predicted look, not a guarantee: faithful" in shown
        assert "Printed film works on Classic cotton tee in Black" in shown
        assert shown.count("works: True") == 2
        assert f"TICKET {number}" in shown
        assert "NOT MIRRORED" not in shown
        assert "MIRRORED" in shown
        assert "order.accepted no. 1: accepted" in shown
        assert f"ticket.moved no. 3: {number} made" in shown
        assert "What next" in shown
    assert {path.name for path in tmp_path.iterdir()} == {"demo"}


def test_examples_speak_of_what_was_just_placed() -> None:
    """Ids written in the example files are replaced everywhere in an example."""
    example = Example("a", "A", "GET", "/v1/orders/order_1", 200, {}, {"x": ["order_1"]}, "order_1")
    live = with_live_ids(example, {"order_1": "order_abc"})
    assert live.path == "/v1/orders/order_abc"
    assert live.body == {"x": ["order_abc"]}
    assert live.answer == "order_abc"
