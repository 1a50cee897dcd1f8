"""What a run saves of station time: it is set up for once, each of its tickets was booked for it.

The share of a ticket's booked time that is for the run's set-up follows from its methods, in the
version of the catalogue that it was quoted by (:func:`service.domain.work.line_work` books one
set-up for a medium, the longest, for all of a ticket's decorations).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import NamedTuple

from service.domain.methods import Method, OperationKind

_MADE_ON_RUN = frozenset({OperationKind.PRINT, OperationKind.CUT})
_S_PER_MIN = 60


class BookedSetup(NamedTuple):
    """Seconds booked for a ticket to set a station up for the run; ``day`` is its first there."""

    ticket_id: int
    station: str
    kind: OperationKind
    seconds: int
    day: date


def run_setups_s(methods: Iterable[Method], medium: str) -> dict[tuple[str, OperationKind], int]:
    """Seconds of set-up of one run on ``medium``, by station and by what is done there."""
    found: dict[tuple[str, OperationKind], int] = {}
    for method in methods:
        for step in method.operations:
            if step.kind in _MADE_ON_RUN and step.medium == medium:
                key = step.station, step.kind
                found[key] = max(found.get(key, 0), int(step.run_setup_min * _S_PER_MIN))
    return {key: seconds for key, seconds in found.items() if seconds}


def superfluous(setups: Iterable[BookedSetup]) -> list[BookedSetup]:
    """All but one of each station's kind: the longest is kept, the first booked of equals."""
    alike: dict[tuple[str, OperationKind], list[BookedSetup]] = {}
    for one in setups:
        alike.setdefault((one.station, one.kind), []).append(one)
    found: list[BookedSetup] = []
    for several in alike.values():
        several.sort(key=lambda one: (-one.seconds, one.day, one.ticket_id))
        found += several[1:]
    return found


def off_shares(
    shares: Sequence[tuple[int, str, date, int]], less_s: Mapping[tuple[int, str], int]
) -> dict[tuple[int, str, date], int]:
    """What comes off shares (ticket, station, day, seconds), of each pair's the first first.

    Never more than a share has; what is left of ``less_s`` then is not taken off.
    """
    left_s, found = dict(less_s), dict[tuple[int, str, date], int]()
    for ticket, station, day, seconds in sorted(shares, key=lambda share: share[2]):
        off_s = min(seconds, left_s.get((ticket, station), 0))
        if off_s > 0:
            found[ticket, station, day] = off_s
            left_s[ticket, station] -= off_s
    return found
