"""The try page in a real browser, as a storefront's developer uses it.

Source of the checks: a browser that is not ours decides what is shown, sent and refused; reflow at
360 px by WCAG 2.2 criterion 1.4.10 (320 px there, from memory).
"""

from __future__ import annotations

import json
import shlex
from collections.abc import Iterator
from dataclasses import dataclass, field
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import (
    Browser,
    FilePayload,
    Locator,
    Page,
    Request,
    Route,
    expect,
)

from service.store.keys import format_key
from service.store.tables import Quote
from tests.browser.screen import serious_faults
from tests.web.shop.door import ShopDoor, picture

pytestmark = pytest.mark.browser

WIDTHS = (360, 1280)
WAIT_S = 20.0
"""Longest wait for anything; it only ends a test that is broken."""


@dataclass
class Tried:
    """The page in a browser, and what was noted on the way."""

    page: Page
    address: str
    key: str
    console: list[str] = field(default_factory=list)
    hosts: set[str] = field(default_factory=set)
    bodies: dict[str, str] = field(default_factory=dict)

    def watch(self) -> None:
        """Note what the console is told, and the host and the last body of each request."""
        self.page.on("console", lambda told: self.console.append(told.text))
        self.page.on("pageerror", lambda error: self.console.append(str(error)))
        self.page.on("request", self._note)

    def _note(self, sent: Request) -> None:
        where = urlsplit(sent.url)
        self.hosts.add(where.netloc)
        self.bodies[f"{sent.method} {where.path}"] = sent.post_data or ""

    def enter(self, key: str) -> None:
        """Open the page and give a key by keyboard."""
        self.page.goto(f"{self.address}/try")
        self.page.get_by_label("Storefront key").fill(key)
        self.page.keyboard.press("Enter")

    def choose(self, group: str, name: str) -> None:
        """Pick a choice of a group, whether it is greyed or not."""
        chip = self.page.get_by_role("group", name=group, exact=True).locator(".chip")
        chip.filter(has=self.page.get_by_text(name, exact=True)).get_by_role("radio").check()

    def choose_black_cotton(self, method: str) -> None:
        """A black cotton tee with the hill on its front."""
        self.choose("Blank", "Classic cotton tee")
        self.choose("Colour", "Black")
        self.choose("Placement", "Full front")
        self.choose("Method", method)

    @property
    def status(self) -> Locator:
        """The live region."""
        return self.page.get_by_role("status").first


@pytest.fixture
def door(served: tuple[ShopDoor, str]) -> ShopDoor:
    """The shop behind the page, which has the first of the demonstration's artworks."""
    return served[0]


@pytest.fixture
def tried(
    request: pytest.FixtureRequest, browser: Browser, served: tuple[ShopDoor, str]
) -> Iterator[Tried]:
    """A fresh page, at the width that the test asks for or else the last of them."""
    width = getattr(request, "param", WIDTHS[-1])
    page = browser.new_page(viewport={"width": width, "height": 800})
    page.set_default_timeout(WAIT_S * 1_000)
    expect.set_options(timeout=WAIT_S * 1_000)
    shop, address = served
    one = Tried(page, address, str(shop.storefront.key))
    one.watch()
    yield one
    page.close()


def _ask_for_the_day(page: Page, day: str) -> None:
    """A day that is needed makes the quote stale; asked again it says that it can be had."""
    page.get_by_label("Needed by").fill(day)
    expect(page.locator("#quote .stale")).to_have_count(1)
    page.get_by_role("button", name="Make a quote").click()
    expect(page.locator("#quote p.works")).to_have_text(f"{day} can be had.")


@pytest.mark.parametrize("tried", WIDTHS, indirect=True)
def test_refusal_way_out_and_price(tried: Tried, door: ShopDoor) -> None:
    """Dye on black cotton is greyed and refused with reasons; a way out works and has a price."""
    page = tried.page
    tried.enter(tried.key)
    tried.choose_black_cotton("Dye transfer")
    dye = page.locator("#group-method .chip", has_text="Dye transfer").first
    expect(dye).to_have_class("chip greyed")
    expect(dye).to_have_attribute("title", "Dye needs polyester; Dye needs a light surface")
    why = page.locator("#group-method .why")
    expect(why.locator(".blocked")).to_contain_text("Dye transfer is greyed: Dye needs polyester")
    link = why.locator(".blocked a").first
    expect(link).to_have_attribute("href", "rules/dye-fibre-share")
    assert page.request.get(f"{tried.address}/rules/dye-fibre-share").ok
    expect(tried.status).to_contain_text("Refused: 2 reasons against Dye transfer")
    expect(page.locator("#check .finding.blocks")).to_have_count(2)
    shown = page.locator("#proof img")
    expect(shown).to_be_visible()
    assert shown.evaluate("picture => picture.naturalWidth") == 1000
    overflow = page.evaluate("document.documentElement.scrollWidth - innerWidth")
    assert overflow <= 0
    assert serious_faults(page) == []

    page.get_by_role("button", name="Change method to printed-film").click()
    expect(tried.status).to_contain_text("Works: Printed film")
    expect(page.locator("#group-method input:checked")).to_have_value("printed-film")
    expect(page.locator("#check .finding.blocks")).to_have_count(0)
    page.get_by_role("button", name="Make a quote").click()
    price = page.locator("#quote .price")
    expect(price).to_be_visible()
    kept = door.rows(Quote)[-1]
    euros, cents = divmod(kept.total_minor, 100)
    expect(price).to_have_text(f"{euros}.{cents:02d} EUR")
    line = json.loads(kept.answer_json)["lines"][0]
    for size, each in line["unit_prices"].items():
        total = line["totals_by_size"][size]["amount"]
        told = f"{size}: {line['pieces_by_size'][size]} at {each['per_piece']} EUR, "
        told += f"{total // 100}.{total % 100:02d} EUR in all"
        expect(page.locator("#quote li").filter(has_text=told)).to_have_count(1)
    expect(page.locator("#quote")).to_contain_text(kept.promised_day.isoformat())

    sent = page.locator("#sent details")
    expect(sent.first.locator("summary")).to_contain_text("POST /v1/quotes 201")
    sent.first.locator("summary").click()
    texts = sent.first.locator("pre").all_inner_texts()
    body = tried.bodies["POST /v1/quotes"]
    assert json.loads(body)["lines"][0]["decorations"][0]["method"] == "printed-film"
    assert texts[0] == f"POST /v1/quotes\n\n{body}"
    assert shlex.split(texts[1])[-3:] == ["-d", body, f"{tried.address}/v1/quotes"]
    assert shlex.split(texts[1])[:3] == ["curl", "-H", "Authorization: Bearer $KEY"]

    _ask_for_the_day(page, kept.promised_day.isoformat())
    assert serious_faults(page) == []
    assert tried.key not in page.content()
    assert tried.console == []
    assert tried.hosts == {urlsplit(tried.address).netloc, ""}


def test_a_wrong_key_is_asked_for_again(tried: Tried) -> None:
    """A key that is refused is told so, nothing opens, and the right one then does."""
    tried.enter(format_key(bytes(40)))
    expect(tried.page.get_by_role("alert").first).to_contain_text("unknown, has expired")
    expect(tried.page.locator("#wish")).to_be_hidden()
    expect(tried.page.get_by_label("Storefront key")).to_be_focused()
    tried.page.keyboard.type(tried.key)
    tried.page.keyboard.press("Enter")
    expect(tried.page.locator("#group-blank .chip").first).to_be_visible()
    kept = "[location.href, JSON.stringify({...localStorage, ...sessionStorage}), document.cookie]"
    assert tried.page.evaluate(kept) == [f"{tried.address}/try", "{}", ""]
    tried.page.reload()
    expect(tried.page.get_by_label("Storefront key")).to_have_value("")


def test_markup_in_a_name_stays_text(tried: Tried) -> None:
    """An uploaded file whose name is markup is shown as its text and runs nothing."""
    name = "<img src=x onerror=alert(1)>.png"
    tried.enter(tried.key)
    page = tried.page
    page.get_by_text("Upload one, or name one by its id").click()
    page.get_by_label("The customer declares").check()
    file: FilePayload = {"name": name, "mimeType": "image/png", "buffer": picture()}
    page.get_by_label("Picture file").set_input_files(file)
    page.get_by_role("button", name="Upload").click()
    expect(page.locator("#artwork-note")).to_contain_text("300 × 300 pixels, rights declared.")
    entry = page.locator("#sent details", has_text="POST /v1/artworks").first
    entry.locator("summary").click()
    expect(entry.locator("pre").first).to_contain_text(f"file={name}")
    assert page.locator("#sent img").count() == 0
    assert tried.console == []


def test_a_late_answer_is_dropped(tried: Tried) -> None:
    """The answer to an earlier choice never takes the place of the answer to the last one."""
    held: list[Route] = []

    def hold_the_first(route: Route) -> None:
        if held:
            route.continue_()
        else:
            held.append(route)

    tried.page.route("**/v1/checks", hold_the_first)
    tried.enter(tried.key)
    tried.choose_black_cotton("Dye transfer")
    expect(tried.page.locator("#sent")).to_contain_text("POST /v1/checks waiting")
    tried.choose("Method", "Printed film")
    expect(tried.status).to_contain_text("Works: Printed film")
    expect(tried.page.locator("#sent")).to_contain_text("dropped")
    held[0].abort()
    expect(tried.status).to_contain_text("Works: Printed film")


def test_a_refused_request_is_told(tried: Tried) -> None:
    """What is no wish at all is shown as the problem's title, detail and fields, and mended."""
    tried.enter(tried.key)
    tried.choose_black_cotton("Printed film")
    expect(tried.status).to_contain_text("Works: Printed film")
    tried.page.get_by_label("Width of what shows").fill("9000")
    problem = tried.page.locator("#check .problem")
    expect(problem).to_contain_text("Some fields cannot be used")
    expect(problem.locator("code").last).to_have_text("#/lines/0/decorations/0/width_mm")
    expect(problem.get_by_role("link")).to_have_attribute("href", "problems/fields-refused")
    tried.page.get_by_label("Width of what shows").fill("200")
    expect(tried.status).to_contain_text("Works: Printed film")


def test_choices_by_keyboard_alone(tried: Tried) -> None:
    """Arrow keys move through the values of a group, and the focus stays where it was."""
    tried.enter(tried.key)
    page = tried.page
    tried.choose("Blank", "Classic cotton tee")
    page.locator("#group-blank input:checked").focus()
    page.keyboard.press("ArrowDown")
    focused = page.locator("#group-blank input:focus")
    expect(focused).to_have_value("sport-polyester-tee")
    expect(page.locator("#sent")).to_contain_text("blank=sport-polyester-tee")
    expect(page.locator("#sizes input").first).to_be_visible()
    expect(focused).to_have_value("sport-polyester-tee")
