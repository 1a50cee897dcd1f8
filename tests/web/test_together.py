"""Turns: who shares one, who waits, and what each is told when one fails or somebody has left.

Who shares a turn is the service's own rule: no source.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine, Sequence
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.errors import Conflict, ServiceError
from service.web import together as together_module
from service.web.together import MOST_TOGETHER, Together

PATIENCE_S = 10
"""Longest wait for what a turn should tell; it only ends a test that is broken."""

FIRST = 0
"""Who comes first, and has a turn alone, while the others come."""


class Book:
    """Turns that are written down: each tells twice of a number, or does as it is told."""

    def __init__(self) -> None:
        self.turns: list[list[int]] = []
        self.poisoned: set[int] = set()
        self.refused: set[int] = set()
        self.ended: list[list[int]] = []
        self._gate = asyncio.Event()
        self.together: Together[int, int] = Together(self._turn)

    async def _turn(self, asked: Sequence[int]) -> Sequence[int | ServiceError]:
        self.turns.append(list(asked))
        await self._gate.wait()
        if self.poisoned.intersection(asked):
            raise RuntimeError("one of them is poisoned")
        self.ended.append(list(asked))
        return [Conflict("no", f"Not {one}.") if one in self.refused else 2 * one for one in asked]

    def open(self) -> None:
        """Let turns end; until then each waits once it has begun."""
        self._gate.set()

    def ask(self, number: int, apart: object = None) -> asyncio.Task[int]:
        """Ask, apart from nobody unless told otherwise."""
        return asyncio.create_task(
            self.together.ask(number, apart=number if apart is None else apart)
        )


async def settle() -> None:
    """Let every task go as far as it can."""
    for _ in range(8):
        await asyncio.sleep(0)


async def told(asking: Sequence[asyncio.Task[int]]) -> list[int | BaseException]:
    """What each is told, or the error that it ends with."""
    async with asyncio.timeout(PATIENCE_S):
        return await asyncio.gather(*asking, return_exceptions=True)


def run(story: Callable[[Book], Coroutine[Any, Any, None]]) -> None:
    """Let a story happen on an event loop of its own."""

    async def happen() -> None:
        await story(Book())

    asyncio.run(happen())


async def begun(book: Book) -> asyncio.Task[int]:
    """A turn of one that has begun, behind which others gather."""
    first = book.ask(FIRST)
    await settle()
    assert book.turns == [[FIRST]]
    return first


def test_those_who_wait_share_the_next_turn_in_order() -> None:
    """Whoever comes while a turn is taken shares the next one, first come first."""

    async def story(book: Book) -> None:
        asking = [await begun(book), *(book.ask(number) for number in (5, 3, 4))]
        await settle()
        book.open()
        assert await told(asking) == [0, 10, 6, 8]
        assert book.turns == [[FIRST], [5, 3, 4]]

    run(story)


@given(st.lists(st.integers(0, 3), max_size=70))
def test_nobody_shares_a_turn_with_one_alike(marks: list[int]) -> None:
    """Each has one turn; turns are bounded, never hold two alike, and keep the order of those."""

    async def story(book: Book) -> None:
        asking = [await begun(book)]
        asking += [book.ask(number, ("mark", mark)) for number, mark in enumerate(marks, 1)]
        await settle()
        book.open()
        assert await told(asking) == [2 * number for number in range(len(marks) + 1)]
        taken = [number for turn in book.turns for number in turn]
        assert sorted(taken) == list(range(len(marks) + 1))
        mark_of = dict(enumerate(marks, 1))
        for turn in book.turns[1:]:
            assert turn == sorted(turn)
            assert len({mark_of[number] for number in turn}) == len(turn) <= MOST_TOGETHER
        for mark in set(marks):
            alike = [number for number in taken if mark_of.get(number) == mark]
            assert alike == sorted(alike)

    run(story)


def test_so_many_share_a_turn_and_no_more() -> None:
    """The rest waits for the turn after that, in order."""

    async def story(book: Book) -> None:
        count = 2 * MOST_TOGETHER + 1
        asking = [await begun(book), *(book.ask(number) for number in range(1, count + 1))]
        await settle()
        book.open()
        await told(asking)
        assert [len(turn) for turn in book.turns] == [1, MOST_TOGETHER, MOST_TOGETHER, 1]
        assert [number for turn in book.turns for number in turn] == list(range(count + 1))

    run(story)


def test_one_is_refused_and_the_others_are_not() -> None:
    """An error that a turn gives for one is raised to that one alone; the turn has not failed."""

    async def story(book: Book) -> None:
        book.refused = {2}
        asking = [await begun(book), *(book.ask(number) for number in (1, 2, 3))]
        await settle()
        book.open()
        answers = await told(asking)
        assert (answers[1], answers[3]) == (2, 6)
        assert isinstance(answers[2], Conflict)
        assert book.turns == [[FIRST], [1, 2, 3]]

    run(story)


def test_a_turn_that_fails_is_taken_by_each_alone() -> None:
    """One that nobody foresaw fails by itself; those who shared its turn are told, in order."""

    async def story(book: Book) -> None:
        book.poisoned = {2}
        asking = [await begun(book), *(book.ask(number) for number in (1, 2, 3))]
        await settle()
        book.open()
        answers = await told(asking)
        assert (answers[1], answers[3]) == (2, 6)
        assert isinstance(answers[2], RuntimeError)
        assert book.turns == [[FIRST], [1, 2, 3], [1], [2], [3]]
        assert book.ended == [[FIRST], [1], [3]]
        # It goes on as before.
        assert await told([book.ask(9)]) == [18]

    run(story)


def test_a_turn_of_one_that_fails_is_not_taken_twice() -> None:
    """Who was alone already is told at once what it failed by."""

    async def story(book: Book) -> None:
        book.poisoned = {7}
        book.open()
        (answer,) = await told([book.ask(7)])
        assert isinstance(answer, RuntimeError)
        assert book.turns == [[7]]

    run(story)


@pytest.mark.parametrize("leaves_at", ["before its turn", "in its turn"])
def test_a_caller_that_has_left_keeps_nobody_waiting(leaves_at: str) -> None:
    """Its turn is taken all the same, for what was begun is kept for it, and the rest is told."""

    async def story(book: Book) -> None:
        first = await begun(book)
        asking = [book.ask(number) for number in (1, 2, 3)]
        await settle()
        leaving = asking[1] if leaves_at == "before its turn" else first
        leaving.cancel()
        await settle()
        assert leaving.cancelled()
        book.open()
        answers = await told([first, *asking])
        left = 2 if leaves_at == "before its turn" else FIRST
        for number, answer in enumerate(answers):
            if number == left:
                assert isinstance(answer, asyncio.CancelledError)
            else:
                assert answer == 2 * number
        assert book.ended == [[FIRST], [1, 2, 3]]

    run(story)


def test_a_turn_that_fails_after_a_caller_left_tells_the_others() -> None:
    """Nobody is told twice, nor is anybody forgotten, where a turn fails that somebody left."""

    async def story(book: Book) -> None:
        book.poisoned = {2}
        asking = [await begun(book), *(book.ask(number) for number in (1, 2, 3))]
        await settle()
        asking[2].cancel()
        await settle()
        book.open()
        answers = await told(asking)
        assert (answers[0], answers[1], answers[3]) == (0, 2, 6)
        assert isinstance(answers[2], asyncio.CancelledError)

    run(story)


def test_who_comes_alone_waits_for_nobody(monkeypatch: pytest.MonkeyPatch) -> None:
    """One after the other, none waits for company: with an endless moment all are told."""
    monkeypatch.setattr(together_module, "MOMENT_S", 100 * PATIENCE_S)

    async def story(book: Book) -> None:
        book.open()
        for number in range(5):
            assert await told([book.ask(number)]) == [2 * number]
        assert book.turns == [[number] for number in range(5)]

    run(story)


def test_those_who_shared_a_turn_are_waited_for_a_moment(monkeypatch: pytest.MonkeyPatch) -> None:
    """Who comes back first waits for the others and shares a turn with them again."""
    monkeypatch.setattr(together_module, "MOMENT_S", 0.3)

    async def story(book: Book) -> None:
        asking = [await begun(book), *(book.ask(number) for number in (1, 2))]
        await settle()
        book.open()
        await told(asking)
        back = book.ask(3)
        await settle()
        assert book.turns == [[FIRST], [1, 2]]
        assert await told([back, book.ask(4)]) == [6, 8]
        assert book.turns == [[FIRST], [1, 2], [3, 4]]

    run(story)
