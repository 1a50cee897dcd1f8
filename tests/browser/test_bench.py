"""The bench as a person meets it on a narrow and on a wide screen.

Source of the checks: the standards named beside each of the screen's own checks (WCAG 2.2, from
memory); the clock of the page is moved by the browser's own means, so that no test waits.
"""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.screen import Screen
from tests.web.shop.door import ShopDoor, answered

pytestmark = pytest.mark.browser

STANDS_AT_S = 1_000
"""Seconds after its beginning at which the page's clock is stopped, to be moved by hand."""

NOTE = "<script>document.title = 'taken'</script> \u05e9\u05dc\u05d5\u05dd \U0001f9f5 " + "w" * 900


def test_the_queue_leads_to_a_ticket_by_keys_alone(screen: Screen, number: str) -> None:
    """The scan field has the focus, so a wedge scanner that types and presses Enter is enough."""
    screen.go("/bench")
    expect(screen.page.get_by_label("Scan")).to_be_focused()
    screen.check()
    screen.page.keyboard.type(f"{screen.address}/bench/tickets/{number}")
    screen.page.keyboard.press("Enter")
    screen.page.wait_for_url(f"**/bench/tickets/{number}")
    screen.check()
    # On the ticket nothing has the focus: what a scanner types goes to the scan field all the same.
    screen.page.keyboard.type(number)
    screen.page.keyboard.press("Enter")
    screen.page.wait_for_url(f"**/bench/tickets/{number}")


@pytest.mark.parametrize(
    "path", ["/picking", "/schedule", "/deliveries", "/sign-in", "/scan?q=foreign"]
)
def test_every_other_page_is_sound(screen: Screen, number: str, path: str) -> None:
    """Nothing nameless, faint, or beyond the edge."""
    assert number
    screen.go(f"/bench{path}")
    screen.faults[:] = [fault for fault in screen.faults if "404" not in fault]
    screen.check()


def test_the_timer_counts_down_sounds_and_keeps_the_screen_awake(
    screen: Screen, shop: ShopDoor, number: str
) -> None:
    """Started by the keyboard, it ends on the second, says so, beeps, and lets the screen go."""
    steps = answered(shop.staff.get(f"/v1/tickets/{number}"), 200)["document"]["steps"]
    step = next(one for one in steps if one["dwell_s"])
    screen.page.clock.install(time=0)
    screen.page.add_init_script(
        "window.beeps = 0; window.locks = [];"
        "const start = OscillatorNode.prototype.start;"
        "OscillatorNode.prototype.start = function (...at) { window.beeps += 1;"
        "  start.apply(this, at); };"
        "Object.defineProperty(navigator, 'wakeLock', { value: { request: async (kind) => {"
        "  const lock = { kind, released: false, release: async () => { lock.released = true; } };"
        "  window.locks.push(lock); return lock; } } });"
    )
    screen.go(f"/bench/tickets/{number}?step={step['key']}")
    screen.page.clock.pause_at(STANDS_AT_S)
    face = screen.page.locator(".timer output")
    expect(face).to_have_text(f"{step['dwell_s']:.1f}")
    button = screen.page.get_by_role("button", name=f"Start {step['dwell_s']:g} s")
    button.focus()
    screen.page.keyboard.press("Enter")
    screen.page.clock.run_for(1_000)
    assert float(face.inner_text()) == pytest.approx(step["dwell_s"] - 1, abs=0.15)
    assert screen.page.evaluate("window.locks.map((one) => [one.kind, one.released])") == [
        ["screen", False]
    ]
    screen.page.clock.run_for(int(step["dwell_s"] * 1_000) - 1_500)
    expect(screen.page.locator(".timer.over")).to_have_count(0)
    assert screen.page.evaluate("window.beeps") == 0
    screen.page.clock.run_for(700)
    expect(face).to_have_text("0.0")
    expect(screen.page.locator(".timer [role=status]")).to_have_text("Time is up: open the press.")
    assert screen.page.evaluate("window.beeps") == 4
    assert screen.page.evaluate("window.locks.every((one) => one.released)")
    screen.check(stopped=True)


def test_pieces_are_spoiled_with_a_reason(screen: Screen, number: str) -> None:
    """Chosen, noted and counted; hostile text is shown and nothing of it runs."""
    page = screen.page
    screen.go(f"/bench/tickets/{number}")
    screen.press("Start")
    page.get_by_label("Size").select_option("L")
    page.get_by_label("Reason, if spoiled").select_option("scorched")
    page.get_by_label("Note (needed with “something else”)").fill(NOTE)
    screen.press("Spoiled")
    expect(
        page.get_by_text("1 piece of size L spoiled: scorched, glazed or melted")
    ).to_be_visible()
    expect(page).to_have_title(f"Ticket {number}")
    row = page.get_by_role("row").filter(has_text="L")
    expect(row.get_by_role("cell").nth(2)).to_have_text("1")
    screen.check()


def test_the_second_of_two_loses_nothing(
    screen: Screen, browser: Browser, shop: ShopDoor, number: str
) -> None:
    """Both look, one acts; the other is told who did what, and finds the note still typed."""
    screen.go(f"/bench/tickets/{number}")
    other = Screen.open(browser, screen.address, 800)
    other.sign_in(str(shop.staff.key), "Bob")
    other.go(f"/bench/tickets/{number}")
    other.press("Start")
    expect(other.page.get_by_text("on the bench").first).to_be_visible()
    screen.page.get_by_label("Note", exact=True).fill(NOTE)
    screen.press("Halt")
    alert = screen.page.get_by_role("alert")
    expect(alert).to_contain_text(f"Since you looked at ticket {number}, Bob made the move 'start'")
    expect(screen.page.get_by_label("Note", exact=True)).to_have_value(NOTE)
    screen.check()
    screen.press("Halt")
    expect(screen.page.get_by_role("heading", level=1)).to_contain_text("halted")
    other.close()


def test_a_step_is_ticked_off(screen: Screen, number: str) -> None:
    """The next one follows, and the proof is shown at its size."""
    screen.go(f"/bench/tickets/{number}")
    screen.press("Start")
    expect(screen.page.get_by_text("Step 1 of")).to_be_visible()
    screen.page.get_by_role("button", name="Tick off").click()
    expect(screen.page.get_by_text("Step 2 of")).to_be_visible()
    proof = screen.page.locator("img.proof")
    proof.scroll_into_view_if_needed()
    screen.page.wait_for_function("document.querySelector('img.proof').naturalWidth === 1000")
    screen.check()
