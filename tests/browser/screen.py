"""One screen: a page that notes every fault and every address it asks for."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page

HEIGHT_PX = 900

UNNAMED = """() => {
  const named = (one) => one.labels?.length || one.getAttribute('aria-label')
    || one.getAttribute('aria-labelledby') || one.textContent.trim() || one.title;
  const shown = (one) => one.offsetParent !== null && one.type !== 'hidden';
  const wanted = 'a, button, input, select, textarea, meter, [role=group]';
  const bad = [...document.querySelectorAll(wanted)].filter((one) => shown(one) && !named(one));
  return bad.concat([...document.querySelectorAll('img:not([alt])')]).map((one) => one.outerHTML);
}"""
"""Whatever a screen reader could not name (WCAG 2.2, 1.1.1, 3.3.2 and 4.1.2)."""

CONTRASTS = """() => {
  const parse = (text) => text.match(/[\\d.]+/g).map(Number);
  const linear = (c) => c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
  const luminance = ([r, g, b]) =>
    0.2126 * linear(r / 255) + 0.7152 * linear(g / 255) + 0.0722 * linear(b / 255);
  const ground = (one) => {
    for (let at = one; at; at = at.parentElement) {
      const colour = parse(getComputedStyle(at).backgroundColor);
      if (colour.length < 4 || colour[3] === 1) return colour;
    }
    return [255, 255, 255];
  };
  const found = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const one = walker.currentNode.parentElement;
    if (!walker.currentNode.data.trim() || !one.checkVisibility()) continue;
    const style = getComputedStyle(one);
    const size = parseFloat(style.fontSize);
    const large = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
    const [a, b] = [luminance(parse(style.color)), luminance(ground(one))].sort((x, y) => y - x);
    const ratio = (a + 0.05) / (b + 0.05);
    if (ratio < (large ? 3 : 4.5)) found.push([walker.currentNode.data.trim(), ratio]);
  }
  return found;
}"""
"""Texts whose contrast is below WCAG 2.2, 1.4.3 (AA), by its own formula."""

STRUCTURE = """() => {
  const faults = [];
  const ids = [...document.querySelectorAll('[id]')].map((one) => one.id);
  if (new Set(ids).size !== ids.length) faults.push('an id twice');
  if (document.querySelectorAll('main').length !== 1) faults.push('not one main');
  if (document.querySelectorAll('h1').length !== 1) faults.push('not one h1');
  if (!document.documentElement.lang) faults.push('no language');
  if (!document.title) faults.push('no title');
  for (const one of document.querySelectorAll('[aria-labelledby]'))
    if (!document.getElementById(one.getAttribute('aria-labelledby'))) faults.push(one.outerHTML);
  let level = 0;
  for (const one of document.querySelectorAll('h1, h2, h3, h4')) {
    const next = Number(one.tagName[1]);
    if (next > level + 1) faults.push(`jump to ${one.textContent}`);
    level = next;
  }
  for (const one of document.querySelectorAll('button, .button, header a, input[type=checkbox]')) {
    const box = one.getBoundingClientRect();
    if (one.checkVisibility() && (box.width < 24 || box.height < 24)) faults.push('small target');
  }
  return faults;
}"""
"""Landmarks, headings, ids, and targets of 24 pixels (WCAG 2.2, 1.3.1, 2.4.2, 2.5.8, 3.1.1)."""


def serious_faults(page: Page) -> list[str]:
    """What axe-core, an independent checker, finds serious or critical on a page, by rule."""
    return [
        f"{one['id']}: {node['html']}"
        for one in Axe().run(page).response["violations"]
        if one["impact"] in {"serious", "critical"}
        for node in one["nodes"]
    ]


@dataclass
class Screen:
    """A page in a context of its own."""

    page: Page
    context: BrowserContext
    address: str
    faults: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    @classmethod
    def open(cls, browser: Browser, address: str, width_px: int) -> Screen:
        """A new screen of that width, whose faults and requests are noted."""
        size: Any = {"width": width_px, "height": HEIGHT_PX}
        context = browser.new_context(viewport=size)
        page = context.new_page()
        page.set_default_timeout(10_000)
        screen = cls(page, context, address)
        page.on("console", lambda said: screen._note(said.type, said.text))
        page.on("pageerror", lambda error: screen.faults.append(str(error)))
        context.on("request", lambda request: screen.asked.append(request.url))
        return screen

    def _note(self, kind: str, text: str) -> None:
        # A page that answers 409 is loaded by a form and looked at; the browser notes its status.
        if kind in {"error", "warning"} and "409" not in text:
            self.faults.append(text)

    def go(self, path: str) -> None:
        """Load a page."""
        self.page.goto(f"{self.address}{path}")

    def sign_in(self, key: str, who: str) -> None:
        """Sign in by the form."""
        self.go("/bench")
        self.page.get_by_label("Your name or initials").fill(who)
        self.page.get_by_label("Staff key").fill(key)
        self.page.get_by_role("button", name="Sign in").click()
        self.page.wait_for_url(f"{self.address}/bench")

    def press(self, name: str) -> None:
        """Press the button of that name."""
        self.page.get_by_role("button", name=name, exact=True).click()

    def check(self, *, stopped: bool = False) -> None:
        """No fault of the page: nothing beyond its edges, nameless, faint, or out of order.

        Where the page's clock is ``stopped`` axe-core, which waits for it, is not asked.
        """
        wide = self.page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert wide <= 0
        assert self.page.evaluate(UNNAMED) == []
        assert self.page.evaluate(CONTRASTS) == []
        assert self.page.evaluate(STRUCTURE) == []
        faults = [] if stopped else serious_faults(self.page)
        assert not faults, faults

    def close(self) -> None:
        """Leave, and check that nothing failed and no other host was asked for anything."""
        self.context.close()
        assert self.faults == []
        assert {url for url in self.asked if not url.startswith(f"{self.address}/")} == set()
