"""The pages of runs on a narrow and on a wide screen; sources as for the bench's other pages."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.browser.screen import Screen

pytestmark = pytest.mark.browser


def test_a_run_is_proposed_looked_at_and_accepted(screen: Screen, number: str) -> None:
    """By labels and buttons alone; the layout is shown, and every page is sound."""
    page = screen.page
    screen.go("/bench/runs")
    screen.check()
    page.get_by_role("button", name="Propose runs").click()
    page.get_by_role("link", name="R0").first.click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("proposed")
    layout = page.get_by_role("img", name="numbered in the order of cutting")
    expect(layout).to_be_visible()
    assert layout.evaluate("one => one.decode().then(() => one.naturalWidth)") > 0
    expect(page.get_by_role("link", name=number).first).to_be_visible()
    screen.check()
    page.get_by_role("button", name="Accept this run").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("accepted")
    page.get_by_label("Pieces").fill("1")
    page.get_by_role("button", name="Make anew with the next run").click()
    expect(page.get_by_text("waiting for the next run")).to_be_visible()
    screen.check()
