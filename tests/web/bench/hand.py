"""Someone at the bench: a browser of their own, its forms, and strictly read pages."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, cast
from xml.etree.ElementTree import Element

import html5lib
from httpx2 import Response
from starlette.testclient import TestClient

from tests.web.shop.door import Caller, ShopDoor

PAGE_BYTES_MAX = 150_000
_SPACE = re.compile(r"\s+")


def strict_page(response: Response) -> Element:
    """The page's tree; a fault of HTML, or a page that is too large, fails.

    html5lib is an independent implementation of the parsing rules of the HTML standard.
    """
    assert response.headers["content-type"] == "text/html; charset=utf-8"
    assert len(response.content) < PAGE_BYTES_MAX
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    return cast("Element", parser.parse(response.text))


def text_of(node: Element) -> str:
    """All text below a node, white space made single."""
    return _SPACE.sub(" ", "".join(node.itertext())).strip()


@dataclass
class Hand:
    """A browser; ``who`` is the name given at sign-in."""

    client: TestClient
    who: str

    @classmethod
    def stranger(cls, shop: ShopDoor) -> Hand:
        """A browser in which nobody is signed in."""
        return cls(TestClient(shop.client.app, follow_redirects=False), "")

    @classmethod
    def signed_in(cls, shop: ShopDoor, who: str) -> Hand:
        """A browser in which someone has signed in with the workroom's key."""
        hand = cls.stranger(shop)
        hand.who = who
        assert hand.sign_in(shop.staff, who).status_code == 303
        return hand

    def sign_in(self, caller: Caller, who: str, **fields: str) -> Response:
        """Send the sign-in form with a caller's key."""
        given = {"key": caller.key or "", "who": who, "back": "/bench", **fields}
        return self.client.post("/bench/sign-in", data=given)

    def get(self, path: str, **what: Any) -> Response:
        """Load a page."""
        return self.client.get(path, **what)

    def page(self, path: str) -> Element:
        """A page that must be there, strictly read."""
        response = self.get(path)
        assert response.status_code == 200, response.text
        return strict_page(response)

    def hidden(self, number: str) -> dict[str, str]:
        """The fields that a ticket's forms carry: token, version, and when it was looked at."""
        page = self.page(f"/bench/tickets/{number}")
        return {
            str(field.get("name")): str(field.get("value"))
            for field in page.iter("input")
            if field.get("type") == "hidden"
            and field.get("name") in {"token", "version", "seen_at"}
        }

    def send(
        self, number: str, form: str, hidden: dict[str, str] | None = None, /, **fields: str
    ) -> Response:
        """Send one of a ticket's forms, of a page loaded just now unless ``hidden`` is given."""
        carried = self.hidden(number) if hidden is None else hidden
        return self.client.post(f"/bench/tickets/{number}/{form}", data={**carried, **fields})

    def done(self, number: str, form: str, /, **fields: str) -> None:
        """Send a form that must be taken, which leads back to the ticket."""
        response = self.send(number, form, **fields)
        assert response.status_code == 303, text_of(strict_page(response))
        assert response.headers["location"] == f"/bench/tickets/{number}"
