"""The pages of stock on a narrow and on a wide screen; sources as for the bench's other pages."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.browser.screen import Screen

pytestmark = pytest.mark.browser


def test_stock_is_counted_expected_and_received(screen: Screen, number: str) -> None:
    """By labels, buttons and keys alone, with a ticket waiting; every page is sound."""
    page = screen.page
    assert number
    screen.go("/bench/stock?kind=blank")
    screen.check()
    page.get_by_role("link", name="Classic cotton tee, Black, M").click()
    screen.check()
    page.get_by_label("How much").fill("40")
    page.get_by_label("How much").press("Enter")
    expect(page.get_by_text("40 pieces").first).to_be_visible()
    page.get_by_label("Ordered").fill("24")
    page.get_by_label("Expected on").fill("2026-03-09")
    page.get_by_role("button", name="Expect it").click()
    expect(page.get_by_role("button", name="Call off 24 pieces")).to_be_visible()
    screen.check()
    page.get_by_label("What was done").select_option("receive")
    page.get_by_label("Which delivery").select_option(index=1)
    page.get_by_label("How much").fill("24")
    page.get_by_role("button", name="Book", exact=True).click()
    expect(page.get_by_text("Nothing is expected.")).to_be_visible()
    page.get_by_label("What was done").select_option("waste")
    page.get_by_label("How much").fill("9999")
    page.get_by_role("button", name="Book", exact=True).click()
    expect(page.get_by_role("alert")).to_contain_text("on hand")
    screen.check()
