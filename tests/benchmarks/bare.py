"""The bare twins: plain FastAPI endpoints with the same bodies as the real ones, and nothing else.

No middleware, no keys, no rules. A twin validates the body by the real request's model and the
answer, a plain document, by the real answer's model. A durable twin also writes one row, as long
as all that the real endpoint wrote, through ``Database.write`` in a thread.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import FastAPI, File, Form, UploadFile
from pydantic import BaseModel
from sqlalchemy import Text
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from service.store.database import Database

STORE_THREADS = 8


@dataclass(frozen=True, slots=True)
class Twin:
    """One bare endpoint. ``path`` may hold ``{item}``.

    ``asks`` is the body's model, None without one; ``answer_json`` what it answers, of the model
    ``answers``; ``row_chars`` how long a row it writes, None for none; ``upload`` takes a form with
    a file in place of a body.
    """

    verb: str
    path: str
    status: int
    asks: type[BaseModel] | None
    answers: type[BaseModel]
    answer_json: str
    row_chars: int | None
    upload: bool = False


class _Base(DeclarativeBase):
    """Tables of the twins alone."""


class BareRow(_Base):
    """A row that says nothing, at a given length."""

    __tablename__ = "bare_row"

    id: Mapped[int] = mapped_column(primary_key=True)
    filling: Mapped[str] = mapped_column(Text)


def bare_app(database: Database, twins: Sequence[Twin]) -> FastAPI:
    """An application of twins, over a database of their own."""
    database.write(lambda session: _Base.metadata.create_all(session.connection()))
    threads = ThreadPoolExecutor(STORE_THREADS, "bare")
    # The real application has the framework's telemetry off as well.
    app = FastAPI(
        telemetry={"tracing": False, "metrics": False, "logs": False, "auto_configure": False}
    )
    for twin in twins:
        app.add_api_route(
            twin.path,
            _handler(twin, database, threads),
            methods=[twin.verb],
            status_code=twin.status,
            response_model=twin.answers,
        )
    return app


def _handler(twin: Twin, database: Database, threads: ThreadPoolExecutor) -> Callable[..., Any]:
    answer = json.loads(twin.answer_json)
    if twin.upload:
        return _taking_in(answer)
    if twin.asks is None:
        return _showing(answer)
    if twin.row_chars is None:
        return _computing(twin.asks, answer)
    filling = "x" * twin.row_chars
    return _keeping(twin.asks, answer, lambda: _insert(database, filling), threads)


def _insert(database: Database, filling: str) -> None:
    database.write(lambda session: session.add(BareRow(filling=filling)))


def _showing(answer: object) -> Callable[..., Any]:
    async def show(item: str = "", limit: int = 50) -> object:  # noqa: ARG001 - read, not used
        return answer

    return show


def _computing(asks: type[BaseModel], answer: object) -> Callable[..., Any]:
    async def compute(body: Any) -> object:  # noqa: ARG001 - read, not used
        return answer

    return _typed(compute, asks)


def _keeping(
    asks: type[BaseModel], answer: object, insert: Callable[[], None], threads: ThreadPoolExecutor
) -> Callable[..., Any]:
    async def keep(body: Any, item: str = "") -> object:  # noqa: ARG001 - read, not used
        await asyncio.get_running_loop().run_in_executor(threads, insert)
        return answer

    return _typed(keep, asks)


def _taking_in(answer: object) -> Callable[..., Any]:
    async def take_in(
        file: Annotated[UploadFile, File()],
        rights_declared: Annotated[bool, Form()] = False,  # noqa: ARG001, FBT002 - a form field
    ) -> object:
        await file.read()
        return answer

    return take_in


def _typed(handler: Callable[..., Any], asks: type[BaseModel]) -> Callable[..., Any]:
    """The handler with its body's model, which is known at run time alone."""
    handler.__annotations__["body"] = asks
    return handler
