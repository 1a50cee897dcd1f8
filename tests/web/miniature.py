"""A miniature application on the web foundations, with one operation for each kind of trap."""

from __future__ import annotations

import itertools
from collections.abc import AsyncIterator, Iterator
from datetime import UTC, date, datetime
from decimal import Decimal
from enum import StrEnum
from typing import Annotated, Literal
from uuid import UUID

from fastapi import Depends, FastAPI, Query, Request, UploadFile
from pydantic import BaseModel, ConfigDict, Field, model_validator
from starlette.responses import Response, StreamingResponse
from starlette.testclient import TestClient

from service.domain.errors import BadInput, Conflict, FieldFault, Gone, NotFound, Unavailable
from service.settings import Settings
from service.web.application import Documentation, create_base_app, new_router
from service.web.auth import LiveKey, Principal, Scope, require
from service.web.conditional import IfMatch, etag_for, not_modified
from service.web.idempotency import IdempotencyKey, fingerprint

PUBLIC_URL = "https://shop.example"
NOW = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)
STOREFRONT_KEY, STAFF_KEY, OWNER_KEY = "storefront-key-1", "staff-key-1", "owner-key-1"
KEYS = {
    STOREFRONT_KEY: LiveKey(Principal("web-shop", Scope.STOREFRONT, "key-1")),
    STAFF_KEY: LiveKey(Principal("bench", Scope.STAFF, "key-2")),
    OWNER_KEY: LiveKey(Principal("owner", Scope.OWNER, "key-3")),
}
MAX_BODY_BYTES = 20_000
MAX_UPLOAD_BYTES = 40_000

Caller = Annotated[Principal, Depends(require(Scope.STOREFRONT))]
Bench = Annotated[Principal, Depends(require(Scope.STAFF))]


class _Body(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Finish(StrEnum):
    """Two finishes."""

    PLAIN = "plain"
    BRUSHED = "brushed"


class Patch(_Body):
    """One kind of part."""

    kind: Literal["patch"]
    width_mm: Annotated[float, Field(gt=0, le=400)]


class Label(_Body):
    """Another kind of part."""

    kind: Literal["label"]
    words: Annotated[str, Field(min_length=1, max_length=20)]


Part = Annotated[Patch | Label, Field(discriminator="kind")]


class SampleRequest(_Body):
    """A body with a field of each sort."""

    pieces: Annotated[int, Field(ge=1, le=1_000)]
    width_mm: Annotated[float, Field(gt=0, le=2_000)] = 1.0
    price: Annotated[Decimal, Field(ge=0, max_digits=8, decimal_places=2)] = Decimal(0)
    rush: bool = False
    day: date | None = None
    finish: Finish = Finish.PLAIN
    sizes: dict[Annotated[str, Field(pattern=r"^[A-Z]{1,4}$")], int] = Field(default_factory=dict)
    parts: Annotated[tuple[Part, ...], Field(max_length=500)] = ()
    note: str = ""

    @model_validator(mode="after")
    def _not_both(self) -> SampleRequest:
        if self.rush and self.pieces > 100:
            raise ValueError("a rush takes at most 100 pieces")
        return self


class Sample(BaseModel):
    """What a sample answers."""

    pieces: int
    price: str
    holder: str


samples = new_router("samples", "/v1/samples")


@samples.post("", status_code=201)
async def make_sample(body: SampleRequest, caller: Caller) -> Sample:
    """Take a body of every sort of field."""
    return Sample(pieces=body.pieces, price=str(body.price), holder=caller.holder)


@samples.get("")
async def list_samples(caller: Caller, limit: Annotated[int, Query(ge=1, le=100)] = 20) -> int:
    """Take a bounded query parameter."""
    del caller
    return limit


@samples.get("/{sample_id}")
async def read_sample(sample_id: str, request: Request, response: Response) -> Sample:
    """Answer version 7 of a sample."""
    if sample_id != "known":
        raise NotFound("not-found", "There is no such sample of yours.")
    unchanged = not_modified(request, 7)
    if unchanged is not None:
        return unchanged  # type: ignore[return-value] # the framework takes a response as it is
    response.headers["ETag"] = etag_for(7)
    return Sample(pieces=1, price="0", holder="x")


@samples.patch("/{sample_id}")
async def change_sample(sample_id: str, if_match: IfMatch, caller: Bench) -> None:
    """Change version 7 of a sample."""
    del caller
    if sample_id != "known":
        raise NotFound("not-found", "There is no such sample of yours.")
    if_match.check(7)


@samples.post("/repeatable")
async def repeatable(
    request: Request, body: SampleRequest, key: IdempotencyKey, caller: Caller
) -> dict[str, str]:
    """Give back the key and the fingerprint."""
    query = request.query_params.multi_items()
    document = body.model_dump(mode="json")
    path = request.url.path
    return {"key": key, "print": fingerprint("POST", path, query, caller.holder, document)}


@samples.post("/optional")
async def optional_body(body: SampleRequest | None = None) -> bool:
    """Say whether a body came."""
    return body is not None


@samples.post("/pictures")
async def take_picture(file: UploadFile, caller: Caller) -> int:
    """Take a file, and say how long it is."""
    del caller
    return len(await file.read())


faults = new_router("faults", "/faults")


@faults.get("/{code}")
async def fail(code: str) -> None:
    """Fail in the named way."""
    raise {
        "input": BadInput(
            "fields-refused",
            "No.",
            faults=[
                FieldFault("b", path=("lines", 1, "a/b~c")),
                FieldFault("a", path=("lines", 0)),
                FieldFault("c", parameter="limit"),
            ],
        ),
        "many": BadInput(
            "fields-refused", "No.", faults=[FieldFault("x", path=(n,)) for n in range(130)]
        ),
        "missing": NotFound("never-heard-of", "No."),
        "conflict": Conflict("conflict", "No.", extra={"state": "sent"}),
        "gone": Gone("gone", "No."),
        "busy": Unavailable("unavailable", "No.", retry_after_s=7),
        "in-progress": Conflict("idempotency-key-in-progress", "No."),
        "clash": Conflict("conflict", "No.", extra={"status": 1}),
        "hyphen": Conflict("conflict", "No.", extra={"bad-name": 1}),
        "secret": RuntimeError("SELECT secret FROM /etc/passwd"),
        "nan": Conflict("conflict", "No.", extra={"ratio": float("nan")}),
    }[code]


@faults.get("/late/stream")
async def fail_late() -> StreamingResponse:
    """Fail when half of the answer is out."""

    async def halves() -> AsyncIterator[bytes]:
        yield b"half"
        raise RuntimeError("late")

    return StreamingResponse(halves())


def request_ids() -> Iterator[UUID]:
    """Ids that can be told apart and foretold."""
    return (UUID(int=n, version=4) for n in itertools.count(1))


async def find_key(presented: str) -> LiveKey | None:
    """Look among the three keys."""
    return KEYS.get(presented)


def make_app(documentation: Documentation | None = None) -> FastAPI:
    """The miniature application."""
    ids = request_ids()
    app = create_base_app(
        Settings(
            public_url=PUBLIC_URL, max_body_bytes=MAX_BODY_BYTES, max_upload_bytes=MAX_UPLOAD_BYTES
        ),
        request_ids=lambda: next(ids),
        clock=lambda: NOW,
        find_key=find_key,
        checks={},
        documentation=documentation or Documentation(),
    )
    app.include_router(samples)
    app.include_router(faults, prefix="/v1")
    return app


def make_client(app: FastAPI | None = None, key: str | None = STOREFRONT_KEY) -> TestClient:
    """A client of ``app``, or of a new miniature application, that sends ``key``."""
    headers = {} if key is None else {"Authorization": f"Bearer {key}"}
    return TestClient(app or make_app(), headers=headers, follow_redirects=False)
