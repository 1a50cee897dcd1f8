"""The demo shop as the example files meet it: fixed clock, countable ids, fixed bytes."""

from __future__ import annotations

import itertools
import json
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import UUID

from starlette.testclient import TestClient

from service.assembly import Assembly, assemble
from service.demo_artwork import DEMO_HOLDER, draw_demo_artwork
from service.settings import Settings
from service.store.keys import format_key, new_key
from service.web.app import create_app

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
Json = dict[str, Any]


def counting_ids() -> Callable[[str], str]:
    """``quote_0000000000000000000001`` and so on, counted by prefix."""
    counters: defaultdict[str, Iterator[int]] = defaultdict(lambda: itertools.count(1))
    return lambda prefix: f"{prefix}_{next(counters[prefix]):022d}"


@contextmanager
def example_shop(folder: Path) -> Iterator[Callable[[Json], tuple[int, Any]]]:
    """A way to send an example file's request; gives the status and what is answered.

    That is JSON or, of a drawing, its text; of a picture nothing, for it is no text.
    """
    settings = Settings(
        data_dir=folder,
        database_url="",
        webhook_sender=False,
        webhook_private_addresses=True,
        picture_workers=0,
    )
    assembly = assemble(
        settings, clock=lambda: NOW, new_id=counting_ids(), random_bytes=lambda n: bytes(range(n))
    )
    keys = {scope: _key(assembly, scope) for scope in ("storefront", "staff", "owner")}
    app = create_app(assembly, request_ids=lambda: UUID(int=1))
    try:
        with TestClient(app) as client:
            yield lambda content: _send(client, keys, content)
    finally:
        assembly.close()


def _key(assembly: Assembly, scope: str) -> str:
    holder = DEMO_HOLDER if scope == "storefront" else "demo-workroom"
    secret = format_key(f"an invented {scope} key of some length".encode().ljust(40, b"."))
    return assembly.database.write(
        lambda session: new_key(
            session,
            holder=holder,
            scope=scope,
            label="examples",
            now=NOW,
            secret=secret,
            key_id=f"key_{scope}",
        )
    )


def _send(client: TestClient, keys: dict[str, str], content: Json) -> tuple[int, Any]:
    request = content["request"]
    headers = {**request.get("headers", {})}
    if "key" in content:
        headers["Authorization"] = f"Bearer {keys[content['key']]}"
    sent: Json = {}
    if "body" in request:
        sent["content"] = json.dumps(request["body"])
        headers["Content-Type"] = "application/json"
    if "form" in request:
        sent["files"] = {"file": ("hill.png", draw_demo_artwork(), "image/png")}
        sent["data"] = request["form"]
    response = client.request(request["method"], request["path"], headers=headers, **sent)
    media_type = response.headers.get("content-type", "")
    if media_type.startswith("image/svg"):
        return response.status_code, response.text
    has_json = response.content and "json" in media_type
    return response.status_code, response.json() if has_json else None
