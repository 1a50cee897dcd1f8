"""The worker process's side of the picture room: one job at a time, from file to file.

Arguments and results travel in files of a folder that belongs to the room, not through the pipe
between the processes: a picture of many megabytes would hold that up, and a worker that ends
within one would leave half a message behind.
"""

from __future__ import annotations

import os
import pickle
import sys
import traceback
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import cv2

if sys.platform != "win32":
    import resource

NICENESS = 10
"""Whoever answers requests goes first; on a busy machine a picture still gets on, where at the very
lowest claim to a processor it would stand still until its time was over."""

_STATM = Path("/proc/self/statm")
_MOST_LINES = 8

Ending = Literal["told", "out of memory"]


@dataclass(frozen=True, slots=True)
class Returned:
    """What the work returned."""

    value: Any


@dataclass(frozen=True, slots=True)
class Raised:
    """What the work raised, in parts.

    Exceptions whose making takes more than their message come through pickling in parts alone.
    ``lines`` are the innermost lines it passed.
    """

    kind: type[Exception]
    args: tuple[Any, ...]
    state: Mapping[str, Any]
    lines: tuple[str, ...] = ()

    def error(self) -> Exception:
        """The exception, as it was raised."""
        error = self.kind.__new__(self.kind, *self.args)
        error.args = self.args
        error.__dict__.update(self.state)
        return error


class PictureWorkFailedError(RuntimeError):
    """Stands for an exception that could not be brought over from a worker; names its kind."""


def settle(memory_mb: int) -> None:
    """Make the process that calls this a modest one, once, before its first job.

    It yields to all others, takes at most ``memory_mb`` megabytes (10**6 bytes) of address space
    beyond what it has now where the platform can tell, and leaves no picture in a core dump.
    """
    cv2.setNumThreads(1)
    if sys.platform == "win32":
        return
    os.nice(NICENESS)
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    if _STATM.exists():
        pages = int(_STATM.read_text("ascii").split()[0])
        most = pages * resource.getpagesize() + memory_mb * 10**6
        resource.setrlimit(resource.RLIMIT_AS, (most, most))


def write_job(
    path: Path, work: Callable[..., Any], args: Sequence[Any], kwargs: Mapping[str, Any]
) -> None:
    """Write the call to ``path``, large bytes without a copy."""
    _dump((work, args, kwargs), path)


def do_job(job: str, outcome: str) -> Ending:
    """Do the call in the file ``job`` and write what came of it to the file ``outcome``."""
    try:
        _dump(_outcome(Path(job)), Path(outcome))
    except MemoryError:
        return "out of memory"
    return "told"


def read_outcome(path: Path) -> Returned | Raised:
    """What a job wrote."""
    outcome: Returned | Raised = _load(path)
    return outcome


def _outcome(job: Path) -> Returned | Raised:
    work, args, kwargs = _load(job)
    job.unlink()
    try:
        return Returned(work(*args, **kwargs))
    except MemoryError:
        raise
    except cv2.error as error:
        if error.code == cv2.Error.StsNoMem:
            raise MemoryError from None
        return _raised(error)
    except Exception as error:  # noqa: BLE001 - whatever the work raises is handed back
        return _raised(error)


def _raised(error: Exception) -> Raised:
    frames = traceback.extract_tb(error.__traceback__)[-_MOST_LINES:]
    lines = tuple(f"{frame.filename}:{frame.lineno} {frame.name}" for frame in frames)
    raised = Raised(type(error), error.args, error.__dict__, lines)
    try:
        pickle.dumps(raised)
    except Exception:  # noqa: BLE001 - what it holds may refuse in any way
        return Raised(PictureWorkFailedError, (type(error).__qualname__,), {}, lines)
    return raised


def _dump(value: object, path: Path) -> None:
    # Unbuffered: the pickler gathers small parts by itself and hands on large ones as they are.
    with path.open("wb", buffering=0) as file:
        pickle.dump(value, file, pickle.HIGHEST_PROTOCOL)


def _load(path: Path) -> Any:  # noqa: ANN401 - whatever was written
    with path.open("rb") as file:
        return pickle.load(file)  # noqa: S301 - written by our own processes, in a private folder
