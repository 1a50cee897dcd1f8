"""Runs the child over all files, begins anew behind one that ended it, and counts outcomes."""

from __future__ import annotations

import subprocess
import sys
import threading
from collections import Counter
from dataclasses import dataclass, field

SLOW_S = 1.0
"""Processor time of one file above which it is too slow."""
SLOW_DRAWING_S = 3.0
"""Of a drawing that is accepted: twice what drawing one may take by its reckoned cost."""
STUCK_S = 60.0
"""A child that says nothing for so long is ended."""


@dataclass(slots=True)
class Tally:
    """What became of the files of one kind."""

    outcomes: Counter[str] = field(default_factory=Counter)
    bad: list[str] = field(default_factory=list)
    """Which files did what none may do."""
    longest_s: float = 0.0
    drawings: bool = False

    def note(self, number: int, outcome: str, elapsed_s: float) -> None:
        """Count one file."""
        self.outcomes[outcome] += 1
        self.longest_s = max(self.longest_s, elapsed_s)
        if outcome.startswith(("escaped:", "crashed:", "stuck")):
            self.bad.append(f"{number} {outcome}")
        elif elapsed_s > (SLOW_DRAWING_S if self.drawings and outcome == "accepted" else SLOW_S):
            self.outcomes["too slow"] += 1
            self.bad.append(f"{number} too slow, {elapsed_s:.2f} s")


def run_kind(kind: str, seed: int, count: int) -> Tally:
    """Read the files 0 to ``count`` of a kind."""
    tally = Tally(drawings=kind == "svg")
    first = 0
    while first < count:
        first = _run_child(kind, seed, first, count, tally)
    return tally


def _run_child(kind: str, seed: int, first: int, last: int, tally: Tally) -> int:
    """Let a child go on from ``first``; where the next one has to begin."""
    command = [sys.executable, "-W", "error", "-m", "tests.fuzz.child", kind]
    command += [str(number) for number in (seed, first, last)]
    at, stuck = first, threading.Event()
    with subprocess.Popen(  # noqa: S603 - this interpreter, with numbers
        command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    ) as child:

        def end() -> None:
            stuck.set()
            child.kill()

        if child.stdout is None:  # pragma: no cover  # it is a pipe
            raise AssertionError
        watch = threading.Timer(STUCK_S, end)
        watch.start()
        for line in child.stdout:
            watch.cancel()
            watch = threading.Timer(STUCK_S, end)
            watch.start()
            word, number, *rest = line.split()
            at = int(number)
            if word == "end":
                tally.note(at, rest[0], float(rest[1]))
                at += 1
        watch.cancel()
    if at < last:
        tally.note(at, "stuck" if stuck.is_set() else f"crashed:{child.returncode}", 0.0)
        at += 1
    return at
