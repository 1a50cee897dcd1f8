"""Where pictures are worked on: away from what answers requests, and for a bounded time."""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, Protocol, TypeVar

from service.domain.errors import Unavailable

P = ParamSpec("P")
T = TypeVar("T")

RETRY_AFTER_S = 5
"""When to ask again where pictures wait for one another; each takes a second or so."""


class PictureWorkTooLong(Unavailable):
    """The work was broken off at its time limit; the same picture would take as long again."""

    def __init__(self, limit_s: float) -> None:
        """Name the limit, in seconds."""
        detail = f"Working on the picture took more than {limit_s:g} s and was broken off."
        super().__init__("picture-takes-too-long", detail, retry_after_s=RETRY_AFTER_S)


class PictureWorkTooLarge(Unavailable):
    """The work used up its memory."""

    def __init__(self) -> None:
        """Say so."""
        detail = "Working on the picture needs more memory than there is for it."
        super().__init__("picture-needs-too-much", detail, retry_after_s=RETRY_AFTER_S)


class PictureWorkCrashed(Unavailable):
    """The work ended the process it ran in; the same picture would end the next one."""

    def __init__(self) -> None:
        """Say so."""
        detail = (
            "Working on the picture ended the process that did it: its file is broken, or it needs "
            "more memory than there is."
        )
        super().__init__("picture-ends-its-worker", detail, retry_after_s=RETRY_AFTER_S)


class PictureWorkKilled(Unavailable):
    """The process that did the work was ended from outside; the picture may well be sound."""

    def __init__(self) -> None:
        """Say so."""
        detail = (
            "The process that worked on the picture was ended from outside, as a machine does when "
            "its memory is used up. Nothing was kept. Send it again."
        )
        super().__init__("picture-room-away", detail, retry_after_s=RETRY_AFTER_S)


class PictureRoom(Protocol):
    """Runs heavy work on pictures.

    The work is a function at the top of a module, and its arguments and result can be pickled:
    hand over a picture as the bytes of its file.
    """

    def warm_up(self) -> None:
        """Get ready for the first picture; returns at once."""
        ...

    def run(self, work: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
        """What the work returns; raises what it raises. Called off the event loop.

        A room with bounds also raises ``PictureWorkTooLong`` and ``PictureWorkTooLarge``; one of
        other processes ``PictureWorkCrashed`` and ``PictureWorkKilled``, and ``Unavailable`` while
        it is busy or closed.
        """
        ...

    def close(self) -> None:
        """End whatever runs; nothing runs here any more."""
        ...


class SameProcess:
    """Works where it is called, without a bound: for commands and tests."""

    def warm_up(self) -> None:
        """Nothing to get ready."""

    def run(self, work: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
        """Call the work."""
        return work(*args, **kwargs)

    def close(self) -> None:
        """Nothing runs."""
