"""The whole shop as its callers meet it: keys, requests, and a look at the rows behind."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from threading import Barrier
from typing import Any, TypeVar

import pytest
from httpx2 import Response
from PIL import Image
from sqlmodel import Session, SQLModel, func, select
from starlette.testclient import TestClient

from service.assembly import Assembly
from service.demo_artwork import DEMO_ARTWORK_ID, DEMO_HOLDER
from service.store.keys import format_key, new_key
from service.store.tables import Event, StationDay, metadata

PUBLIC_URL = "http://127.0.0.1:8000"
PROBLEM = "application/problem+json"
USUAL_CALLERS = (
    (DEMO_HOLDER, "storefront"),
    ("other-storefront", "storefront"),
    ("workroom", "staff"),
    ("head-office", "owner"),
)
BARRIER_S = 20
"""Longest wait for the other threads of a race; it only ends a test that is broken."""

T = TypeVar("T")
Json = dict[str, Any]


ON_ONE_STORE = pytest.mark.parametrize("standing_shop", ["sqlite"], indirect=True)
"""For what is computed or drawn from what was read: both stores give it the same, as
``test_same_answers`` holds, so once is enough."""


ON_SQLITE = pytest.mark.parametrize("store", ["sqlite"], indirect=True)
"""The same for a test that needs a shop of its own."""


@dataclass(frozen=True)
class Caller:
    """Someone with a key; ``key`` None has none."""

    client: TestClient
    holder: str
    key: str | None

    def send(
        self, method: str, path: str, headers: Mapping[str, str] | None = None, **what: Any
    ) -> Response:
        """Send a request with this caller's key."""
        auth = {"Authorization": f"Bearer {self.key}"} if self.key else {}
        return self.client.request(method, path, headers={**auth, **(headers or {})}, **what)

    def get(self, path: str, headers: Mapping[str, str] | None = None, **what: Any) -> Response:
        """Send a GET."""
        return self.send("GET", path, headers, **what)

    def post(
        self, path: str, body: Any = None, headers: Mapping[str, str] | None = None, **what: Any
    ) -> Response:
        """Send a POST, with ``body`` as JSON unless it is None."""
        content = {} if body is None else {"json": body}
        return self.send("POST", path, headers, **content, **what)

    def quote(self, *lines: Json, headers: Mapping[str, str] | None = None) -> Json:
        """A quote for the lines, which must be had."""
        return answered(self.post("/v1/quotes", {"lines": list(lines)}, headers), 201)

    def accept(self, quote_id: str, key: str, reference: str = "") -> Response:
        """Accept a quote under an idempotency key."""
        body = {"quote_id": quote_id, "reference": reference}
        return self.post("/v1/orders", body, {"Idempotency-Key": key})

    def order(self, *lines: Json, key: str | None = None) -> Json:
        """An order for the lines, which must be had."""
        quote = self.quote(*lines)
        return answered(self.accept(quote["id"], key or f"key-of-{quote['id']}"), 201)

    def upload(self, picture: bytes) -> Response:
        """Upload a picture, to which this caller holds the rights."""
        files = {"file": ("artwork.png", picture, "image/png")}
        return self.send("POST", "/v1/artworks", files=files, data={"rights_declared": "true"})

    def move(self, number: str, move: str, **headers: str) -> Response:
        """Move a ticket; header names have underscores for hyphens."""
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        return self.post(f"/v1/tickets/{number}/moves", {"move": move, "who": "Ada"}, named)

    def moves(self, number: str, *moves: str) -> Json:
        """Make legal moves one after the other; gives the ticket after the last."""
        answer: Json = {}
        for move in moves:
            answer = answered(self.move(number, move), 201)
        return answer


def _secret(holder: str, scope: str) -> str:
    return format_key(hashlib.sha256(f"{holder} {scope}".encode()).digest())


@dataclass
class ShopDoor:
    """The running application and the rows behind it."""

    assembly: Assembly
    client: TestClient
    _callers: dict[tuple[str, str], Caller] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Make the usual callers' keys, so that rows are counted alike before and after calls."""
        self._make_keys(USUAL_CALLERS)

    def caller(self, holder: str, scope: str) -> Caller:
        """A caller with a key of that holder and scope, the same one each time."""
        if (holder, scope) not in self._callers:
            self._make_keys([(holder, scope)])
        return self._callers[holder, scope]

    def _make_keys(self, wanted: Sequence[tuple[str, str]]) -> None:
        now = self.assembly.services.clock()

        def make(session: Session) -> None:
            for holder, scope in wanted:
                new_key(
                    session,
                    holder=holder,
                    scope=scope,
                    label="",
                    now=now,
                    secret=_secret(holder, scope),
                    key_id=f"key-{holder}-{scope}",
                )

        self.assembly.database.write(make)
        for holder, scope in wanted:
            self._callers[holder, scope] = Caller(self.client, holder, _secret(holder, scope))

    @property
    def storefront(self) -> Caller:
        """The storefront whose artwork the demonstration artwork is."""
        return self.caller(*USUAL_CALLERS[0])

    @property
    def other(self) -> Caller:
        """Another storefront."""
        return self.caller(*USUAL_CALLERS[1])

    @property
    def staff(self) -> Caller:
        """Someone at the bench."""
        return self.caller(*USUAL_CALLERS[2])

    @property
    def owner(self) -> Caller:
        """The owner."""
        return self.caller(*USUAL_CALLERS[3])

    @property
    def nobody(self) -> Caller:
        """Someone without a key."""
        return Caller(self.client, "", None)

    def read(self, work: Callable[[Session], T]) -> T:
        """Look into the store."""
        return self.assembly.database.read(work)

    def rows(self, table: type[SQLModel]) -> list[Any]:
        """Every row of a table."""
        return list(self.read(lambda session: session.exec(select(table)).all()))

    def row_counts(self) -> dict[str, int]:
        """How many rows each table holds."""

        def count(session: Session) -> dict[str, int]:
            return {
                table.name: session.connection()
                .execute(select(func.count()).select_from(table))
                .scalar_one()
                for table in metadata.sorted_tables
            }

        return self.read(count)

    def events(self, order_id: str) -> list[tuple[int, str]]:
        """Sequence and type of an order's events, in the order in which they were written."""
        found = [event for event in self.rows(Event) if event.order_id == order_id]
        return [(event.sequence, event.type) for event in sorted(found, key=lambda e: e.seq)]

    def booked_s(self) -> dict[tuple[str, str], int]:
        """Seconds booked by station and day, those of nothing left out."""
        days = self.rows(StationDay)
        return {(row.station, row.day.isoformat()): row.booked_s for row in days if row.booked_s}


def picture(colour: str = "#1565c0") -> bytes:
    """A PNG of a plain square in ``colour``, which any method can make."""
    kept = io.BytesIO()
    Image.new("RGB", (300, 300), colour).save(kept, "PNG")
    return kept.getvalue()


def decoration(**changes: Any) -> Json:
    """A decoration that can be made on black cotton: the demo artwork as printed film."""
    known = {
        "placement": "front",
        "artwork_id": DEMO_ARTWORK_ID,
        "width_mm": 240,
        "method": "printed-film",
    }
    return {**known, **changes}


def line(*decorations: Json, **changes: Any) -> Json:
    """Five black cotton T-shirts with the given decorations, or with one that can be made."""
    known = {
        "blank": "classic-cotton-tee",
        "colour": "black",
        "sizes": {"M": 3, "L": 2},
        "decorations": list(decorations) or [decoration()],
    }
    return {**known, **changes}


def supplied_line(*decorations: Json, sizes: Json | None = None, **changes: Any) -> Json:
    """Five T-shirts that the customer brings: white polyester unless told otherwise."""
    garment = {
        "fibre_content": [{"fibre": "polyester", "percent": 100}],
        "colour_srgb": "#ffffff",
        "weight_g_m2": 150,
        "wearer": "adult",
        "half_chest_mm": 520,
    }
    return {
        "garment": {**garment, **changes},
        "sizes": sizes or {"M": 5},
        "decorations": list(decorations) or [decoration(method="dye-transfer")],
    }


def answered(response: Response, status: int) -> Json:
    """The document of an answer that must have this status."""
    assert response.status_code == status, response.text
    document: Json = response.json()
    return document


def refused(response: Response, status: int, code: str) -> Json:
    """The members of an answer that must be this problem (RFC 9457 section 3)."""
    assert response.status_code == status, response.text
    assert response.headers["content-type"] == PROBLEM
    problem: Json = response.json()
    assert problem["type"] == f"{PUBLIC_URL}/problems/{code}"
    assert problem["status"] == status
    assert problem["title"]
    assert problem["detail"]
    return problem


def only_error(problem: Json) -> Json:
    """The one entry of the problem's errors."""
    (error,) = problem["errors"]
    found: Json = error
    return found


def without_instance(response: Response) -> Json:
    """A problem but for the name of this occurrence, by which alone two refusals may differ."""
    problem: Json = response.json()
    assert problem.pop("instance").startswith("urn:uuid:")
    return problem


def together(calls: Sequence[Callable[[], T]]) -> list[T]:
    """Run calls in a thread each, all let go at once; gives their results in order."""
    barrier = Barrier(len(calls))

    def run(call: Callable[[], T]) -> T:
        barrier.wait(BARRIER_S)
        return call()

    with ThreadPoolExecutor(len(calls)) as threads:
        return list(threads.map(run, calls))


def words_in(document: Any) -> Iterator[str]:
    """Every name and text in a JSON document, in lower case."""
    if isinstance(document, dict):
        for name, value in document.items():
            yield name.lower()
            yield from words_in(value)
    elif isinstance(document, list):
        for value in document:
            yield from words_in(value)
    elif isinstance(document, str):
        yield document.lower()
