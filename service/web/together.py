"""Requests that wait at the same moment, carried out together."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable, Coroutine, Hashable, Sequence
from contextvars import Context
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

import structlog

from service.domain.errors import ServiceError

_log = structlog.get_logger("service.web")

Asked = TypeVar("Asked")
Told = TypeVar("Told")

MOST_TOGETHER = 32
"""Requests in one turn, so that others who write wait for no longer than those take."""

MOMENT_S = 0.002
"""How long a turn waits where fewer have come than shared the last one; after one alone, not."""


@dataclass(frozen=True, slots=True)
class _Waiting(Generic[Asked, Told]):
    asked: Asked
    apart: Hashable
    answer: asyncio.Future[Told]

    def tell(self, answer: Told | BaseException) -> None:
        """Give the answer, or raise it, where somebody still waits."""
        if self.answer.done():
            return
        if isinstance(answer, BaseException):
            self.answer.set_exception(answer)
        else:
            self.answer.set_result(answer)


class Together(Generic[Asked, Told]):
    """A turn takes all who wait, in the order in which they came; whoever comes then, the next one.

    All of one event loop. A turn once begun is ended, though nobody waits for its answer any more.
    Where it fails, each of it has a turn alone, so that none fails by another.
    """

    def __init__(
        self, turn: Callable[[Sequence[Asked]], Coroutine[Any, Any, Sequence[Told | ServiceError]]]
    ) -> None:
        """``turn`` gives what is told to each, or the error that each ends with."""
        self._turn = turn
        self._waiting: deque[_Waiting[Asked, Told]] = deque()
        self._taking: asyncio.Task[None] | None = None
        self._last_size = 1

    async def ask(self, asked: Asked, *, apart: Hashable) -> Told:
        """What one is told; no two of a turn are alike in ``apart``."""
        answer: asyncio.Future[Told] = asyncio.get_running_loop().create_future()
        mine = _Waiting(asked, apart, answer)
        self._waiting.append(mine)
        if self._taking is None:
            # In a context of its own: turns are not the work of the request that began them.
            self._taking = asyncio.create_task(self._take_turns(), context=Context())
        return await answer

    async def _take_turns(self) -> None:
        try:
            while self._waiting:
                if len(self._waiting) < self._last_size:
                    await asyncio.sleep(MOMENT_S)
                some = self._next()
                self._last_size = len(some)
                await self._one_turn(some)
        finally:
            self._taking = None

    async def _one_turn(self, some: Sequence[_Waiting[Asked, Told]]) -> None:
        turn = asyncio.create_task(self._turn([one.asked for one in some]))
        await asyncio.wait([turn])
        failed = turn.exception()
        if failed is None:
            for one, answer in zip(some, turn.result(), strict=True):
                one.tell(answer)
        elif len(some) == 1:
            some[0].tell(failed)
        else:
            # Where each does well alone nobody is told of it, and it would be seen nowhere.
            _log.warning("turn failed", kind=type(failed).__qualname__, count=len(some))
            for one in some:
                await self._one_turn([one])

    def _next(self) -> list[_Waiting[Asked, Told]]:
        """Who is first in line, and those behind that are not like any of them."""
        some: list[_Waiting[Asked, Told]] = []
        left: deque[_Waiting[Asked, Told]] = deque()
        taken: set[Hashable] = set()
        while self._waiting and len(some) < MOST_TOGETHER:
            one = self._waiting.popleft()
            if one.apart in taken:
                left.append(one)
            else:
                taken.add(one.apart)
                some.append(one)
        self._waiting.extendleft(reversed(left))
        return some
