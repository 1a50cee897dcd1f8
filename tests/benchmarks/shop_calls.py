"""The calls that are measured: requests of a storefront and of staff on the invented demo shop."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from pydantic import BaseModel

from service.demo_artwork import DEMO_ARTWORK_ID
from service.intake.answers import (
    ArtworkAnswer,
    CheckAnswer,
    OrderAnswer,
    TicketAnswer,
    TicketPage,
)
from service.intake.catalogue_view import CatalogueAnswer
from service.intake.choices import ChoicesAnswer
from service.intake.price_answers import PriceCurveAnswer, QuoteAnswer
from service.intake.requests import (
    CheckRequest,
    MoveRequest,
    OrderRequest,
    PriceCurveRequest,
    QuoteRequest,
)

MANY, FEW, ALONE = 16, 4, 1
"""Connections: for most calls, for uploads, and where nothing is to wait for anything."""

QUOTE_LINES = 40
CURVE_QUANTITIES = (1, 2, 5, 10, 12, 24, 25, 50, 100, 250)

_BOUNDARY = "benchmark-boundary-7b0f3c"


@dataclass(frozen=True, slots=True)
class Call:
    """One HTTP request; ``key`` is the kind of the caller's key."""

    verb: str
    path: str
    key: str
    body: bytes = b""
    content_type: str = "application/json"
    headers: Mapping[str, str] = field(default_factory=dict)

    def wire(self, keys: Mapping[str, str], prefix: str = "") -> bytes:
        """The request as it is sent, to ``prefix`` and its own path."""
        headers = {
            "Host": "127.0.0.1",
            "Authorization": f"Bearer {keys[self.key]}",
            "Accept": "application/json",
            **self.headers,
        }
        if self.body:
            headers |= {"Content-Type": self.content_type, "Content-Length": str(len(self.body))}
        lines = [f"{self.verb} {prefix}{self.path} HTTP/1.1"]
        lines += [f"{name}: {value}" for name, value in headers.items()]
        return "\r\n".join([*lines, "", ""]).encode() + self.body


@dataclass(frozen=True, slots=True)
class Endpoint:
    """An endpoint to measure and what its twin needs to know.

    ``path`` is its template. ``durable`` sets it beside a durable insert. ``stored`` says that it
    touches the store, so that it is measured on each. ``uses_up`` names what each call takes one
    of: ``quotes`` or ``tickets``. ``always_new`` asks for another width each time, so that nothing
    remembered answers it. Where calls are carried out in turns of many, bursts are ``longer`` by
    that factor, for the first and the last turns are ragged.
    """

    slug: str
    what: str
    verb: str
    path: str
    answers: type[BaseModel]
    asks: type[BaseModel] | None = None
    status: int = 200
    durable: bool = False
    stored: bool = False
    uses_up: str = ""
    always_new: bool = False
    connections: int = MANY
    longer: int = 1
    upload: bool = False


ENDPOINTS = (
    Endpoint("check", "POST /v1/checks, one method, works", "POST", "/v1/checks", CheckAnswer,
             CheckRequest),
    Endpoint("any", "POST /v1/checks, any method, works", "POST", "/v1/checks", CheckAnswer,
             CheckRequest),
    Endpoint("any-new", "POST /v1/checks, any method, never asked before", "POST", "/v1/checks",
             CheckAnswer, CheckRequest, always_new=True),
    Endpoint("refused", "POST /v1/checks, refused, ways out", "POST", "/v1/checks", CheckAnswer,
             CheckRequest),
    Endpoint("refused-new", "POST /v1/checks, refused, never asked before", "POST", "/v1/checks",
             CheckAnswer, CheckRequest, always_new=True),
    Endpoint("choices", "GET /v1/choices, one method", "GET", "/v1/choices", ChoicesAnswer),
    Endpoint("catalogue", "GET /v1/catalogue", "GET", "/v1/catalogue", CatalogueAnswer),
    Endpoint("artwork", "POST /v1/artworks, 2400 x 2000 PNG, known", "POST", "/v1/artworks",
             ArtworkAnswer, connections=FEW, upload=True),
    Endpoint("quote", "POST /v1/quotes", "POST", "/v1/quotes", QuoteAnswer, QuoteRequest,
             status=201, durable=True, stored=True),
    Endpoint("quote-alone", "POST /v1/quotes, one caller", "POST", "/v1/quotes", QuoteAnswer,
             QuoteRequest, status=201, durable=True, stored=True, connections=ALONE),
    Endpoint("quote-new", "POST /v1/quotes, one caller, never asked before", "POST", "/v1/quotes",
             QuoteAnswer, QuoteRequest, status=201, durable=True, stored=True, always_new=True,
             connections=ALONE),
    Endpoint("quote-many", f"POST /v1/quotes, one caller, {QUOTE_LINES} lines", "POST",
             "/v1/quotes", QuoteAnswer, QuoteRequest, status=201, durable=True, stored=True,
             connections=ALONE),
    Endpoint("quote-many-new", f"POST /v1/quotes, one caller, {QUOTE_LINES} lines, never asked "
             "before", "POST", "/v1/quotes", QuoteAnswer, QuoteRequest, status=201, durable=True,
             stored=True, always_new=True, connections=ALONE),
    Endpoint("curve", f"POST /v1/price-curves, one caller, {len(CURVE_QUANTITIES)} quantities",
             "POST", "/v1/price-curves", PriceCurveAnswer, PriceCurveRequest, always_new=True,
             connections=ALONE),
    Endpoint("quoted", "GET /v1/quotes/{id}", "GET", "/v1/quotes/{item}", QuoteAnswer,
             stored=True),
    Endpoint("order", "POST /v1/orders, accept", "POST", "/v1/orders", OrderAnswer, OrderRequest,
             status=201, durable=True, stored=True, uses_up="quotes", longer=4),
    Endpoint("order-alone", "POST /v1/orders, accept, one caller", "POST", "/v1/orders",
             OrderAnswer, OrderRequest, status=201, durable=True, stored=True, uses_up="quotes",
             connections=ALONE),
    Endpoint("tickets", "GET /v1/tickets?limit=50", "GET", "/v1/tickets", TicketPage, stored=True),
    Endpoint("ticket", "GET /v1/tickets/{number}", "GET", "/v1/tickets/{item}", TicketAnswer,
             stored=True),
    Endpoint("move", "POST /v1/tickets/{number}/moves", "POST", "/v1/tickets/{item}/moves",
             TicketAnswer, MoveRequest, status=201, durable=True, stored=True,
             uses_up="tickets"),
)  # fmt: skip
"""In this order: orders use up quotes, and moves the tickets that orders made."""


@dataclass(frozen=True, slots=True)
class Shown:
    """What the calls speak of: one quote and one ticket to look at, and the artwork's bytes."""

    picture: bytes
    quote_id: str = ""
    ticket: str = ""


def checkout_line(method: str, colour: str = "black", width_mm: float = 240) -> dict[str, Any]:
    """Five invented T-shirts, with the demonstration artwork in front."""
    decoration = {
        "placement": "front",
        "artwork_id": DEMO_ARTWORK_ID,
        "width_mm": width_mm,
        "method": method,
    }
    return {
        "blank": "classic-cotton-tee",
        "colour": colour,
        "sizes": {"M": 3, "L": 2},
        "decorations": [decoration],
    }


def lines_body(method: str, width_mm: float = 240) -> bytes:
    """The body of a check or a quote of one line."""
    return _json({"lines": [checkout_line(method, width_mm=width_mm)]})


def many_lines_body(method: str, widths_mm: Sequence[float]) -> bytes:
    """The body of a quote of a line for each width."""
    return _json({"lines": [checkout_line(method, width_mm=width) for width in widths_mm]})


def curve_body(method: str, width_mm: float = 240) -> bytes:
    """The body of a price curve."""
    line = checkout_line(method, width_mm=width_mm)
    return _json({"line": line, "quantities": CURVE_QUANTITIES})


NEW_WIDTHS = 6_000
"""Different widths to ask for, from 210 to 270 mm; more than are asked for in a burst."""

_NEW_AT_MM = {"any-new": 0.0, "refused-new": 0.0, "quote-new": 0.002, "quote-many-new": 0.004,
              "curve": 0.006}  # fmt: skip
"""By which the widths of an endpoint are greater, so that none has asked for another's."""


def new_calls(slug: str) -> list[Call]:
    """Calls of an endpoint that is asked for something new each time."""
    step_mm = 60 / NEW_WIDTHS
    widths = [round(210 + step_mm * at + _NEW_AT_MM[slug], 3) for at in range(NEW_WIDTHS)]
    if slug == "quote-many-new":
        # Lines of one order differ much in width.
        orders = NEW_WIDTHS // QUOTE_LINES
        bodies = [many_lines_body("printed-film", widths[at::orders]) for at in range(orders)]
    elif slug == "curve":
        bodies = [curve_body("printed-film", width) for width in widths]
    else:
        methods = {"any-new": "any", "refused-new": "dye-transfer", "quote-new": "printed-film"}
        bodies = [lines_body(methods[slug], width) for width in widths]
    (path,) = (endpoint.path for endpoint in ENDPOINTS if endpoint.slug == slug)
    return [Call("POST", path, "storefront", body) for body in bodies]


def call_of(slug: str, shown: Shown) -> Call:
    """The call of an endpoint that uses nothing up."""
    many = many_lines_body("printed-film", [200 + at for at in range(QUOTE_LINES)])
    calls = {
        "check": Call("POST", "/v1/checks", "storefront", lines_body("printed-film")),
        "any": Call("POST", "/v1/checks", "storefront", lines_body("any")),
        "refused": Call("POST", "/v1/checks", "storefront", lines_body("dye-transfer")),
        "any-new": Call("POST", "/v1/checks", "storefront", lines_body("any")),
        "refused-new": Call("POST", "/v1/checks", "storefront", lines_body("dye-transfer")),
        "choices": Call("GET", "/v1/choices?method=dye-transfer", "storefront"),
        "catalogue": Call("GET", "/v1/catalogue", "storefront"),
        "artwork": _upload(shown.picture),
        "quote": Call("POST", "/v1/quotes", "storefront", lines_body("printed-film")),
        "quote-alone": Call("POST", "/v1/quotes", "storefront", lines_body("printed-film")),
        "quote-new": Call("POST", "/v1/quotes", "storefront", lines_body("printed-film")),
        "quote-many": Call("POST", "/v1/quotes", "storefront", many),
        "quote-many-new": Call("POST", "/v1/quotes", "storefront", many),
        "curve": Call("POST", "/v1/price-curves", "storefront", curve_body("printed-film")),
        "quoted": Call("GET", f"/v1/quotes/{shown.quote_id}", "storefront"),
        "tickets": Call("GET", "/v1/tickets?limit=50", "staff"),
        "ticket": Call("GET", f"/v1/tickets/{shown.ticket}", "staff"),
    }
    return calls[slug]


def accept_call(quote_id: str) -> Call:
    """Accept a quote, under an idempotency key of its own."""
    body = _json({"quote_id": quote_id, "reference": "invented-1001"})
    headers = {"Idempotency-Key": f"benchmark-{quote_id}"}
    return Call("POST", "/v1/orders", "storefront", body, headers=headers)


def move_call(number: str) -> Call:
    """Start work on a waiting ticket."""
    body = _json({"move": "start", "who": "invented hand"})
    return Call("POST", f"/v1/tickets/{number}/moves", "staff", body)


def _upload(picture: bytes) -> Call:
    parts = [
        f"--{_BOUNDARY}\r\n".encode(),
        b'Content-Disposition: form-data; name="rights_declared"\r\n\r\ntrue\r\n',
        f"--{_BOUNDARY}\r\n".encode(),
        b'Content-Disposition: form-data; name="file"; filename="hill.png"\r\n',
        b"Content-Type: image/png\r\n\r\n",
        picture,
        f"\r\n--{_BOUNDARY}--\r\n".encode(),
    ]
    content_type = f"multipart/form-data; boundary={_BOUNDARY}"
    return Call("POST", "/v1/artworks", "storefront", b"".join(parts), content_type)


def _json(value: object) -> bytes:
    return json.dumps(value, separators=(",", ":")).encode()
