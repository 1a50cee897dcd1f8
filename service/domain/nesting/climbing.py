"""Better orders of the pieces, by trying: small changes that lose nothing are kept.

Each goal is a row of strips or sheets that are to hold everything; what counts is the area of what
they hold. All work is counted in pieces laid, and random numbers come from a generator of fixed
beginning, so that equal questions get equal answers on every machine.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from service.domain.nesting.filling import Filling, Space, Tolerance, fill
from service.domain.nesting.numbers import Numbers
from service.domain.nesting.ranking import Ranking, Ways

OVERHEAD = 10
"""What a layout costs beyond its pieces, in pieces."""

STARTS = 8
FEW_KINDS = 6
RETRY_TOLERANCE = 8
"""One change in so many is of the tolerances and not of the order."""

TOLERANCES_PERMILLE = (
    *((0, 0), (50, 20), (20, 20), (50, 50), (20, 50)),
    *((100, 20), (100, 50), (20, 0), (0, 20)),
)
"""Of the strip's width. Found by trial on published and on made instances."""

_SEED = 0x9E3779B97F4A7C15

Goal = tuple[int, ...]
"""Grown lengths of strips as wide as each other, to be filled one after the other."""


@dataclass(frozen=True, slots=True)
class Effort:
    """How much may be tried: pieces laid, over all layouts."""

    pieces_laid: int


QUOTE = Effort(4_000)
"""For an answer while someone waits: 10 to 50 ms for 40 lines, by how many pieces they have."""

RUN = Effort(150_000)
"""For what is really cut: well under a second for 200 pieces."""


@dataclass(frozen=True, slots=True)
class Trial:
    """All of a goal's strips, filled in one order of the pieces."""

    fillings: tuple[Filling, ...]

    @property
    def area(self) -> int:
        """What lies, in grown square measure."""
        return sum(filling.area for filling in self.fillings)

    @property
    def complete(self) -> bool:
        """Whether every piece lies."""
        return not self.fillings[-1].left


@dataclass(slots=True)
class Start:
    """An order and tolerances to go on from."""

    order: list[int]
    tolerance: Tolerance


class Climber:
    """The pieces of one strip and what may still be tried."""

    def __init__(self, pieces: Sequence[Ways], width: int, effort: Effort) -> None:
        """At least one piece, each with a way narrower than the grown ``width``."""
        self.ranking = Ranking(pieces, range(len(pieces)))
        self.left = effort.pieces_laid
        self._pieces = pieces
        self._width = width
        self._numbers = Numbers(_SEED)
        self._tolerances = [
            Tolerance(width * across // 1000, width * along // 1000)
            for across, along in TOLERANCES_PERMILLE
        ]

    def lay(self, goal: Goal, tolerance: Tolerance, least_area: int = 0) -> Trial:
        """Fill the goal's strips by the present order; ends early when ``least_area`` is lost."""
        ranking = self.ranking
        available = ranking.all
        waste = self._width * sum(goal) - least_area
        fillings = []
        self.left -= OVERHEAD
        for length in goal:
            filling = fill(ranking, available, Space(self._width, length, waste), tolerance)
            fillings.append(filling)
            available = filling.left
            waste -= self._width * length - filling.area
            self.left -= len(filling.laid)
            if not available or waste < 0:
                break
        return Trial(tuple(fillings))

    def plain(self, goal: Goal) -> Iterator[tuple[Trial, Start]]:
        """The layouts of plain orders, largest first by some measure, with each tolerance.

        At least one, and no more than half of what may be tried.
        """
        enough = self.left // 2
        orders = list(self._plain_orders())
        rankings = [Ranking(self._pieces, order) for order in orders]
        for tolerance in self._tolerances:
            for order, self.ranking in zip(orders, rankings, strict=True):
                yield self.lay(goal, tolerance), Start(order, tolerance)
                if self.left < enough:
                    return

    def climb(self, start: Start, goal: Goal, until: int) -> Trial:
        """Change ``start`` while more than ``until`` is left; gives the last layout, never worse.

        Ends with the first layout that is complete.
        """
        self.ranking.arrange(start.order)
        best = self.lay(goal, start.tolerance)
        while not best.complete and self.left > until:
            undo = self._change(start)
            if undo is None:
                continue
            trial = self.lay(goal, start.tolerance, best.area)
            if trial.area >= best.area:
                best = trial
            else:
                undo()
        start.order = list(self.ranking.order)
        return best

    def _change(self, start: Start) -> Callable[[], None] | None:
        """Make a small change; gives what takes it back, None when nothing has changed."""
        numbers = self._numbers
        if numbers.below(RETRY_TOLERANCE) == 0:
            before = start.tolerance
            start.tolerance = self._tolerances[numbers.below(len(self._tolerances))]

            def restore() -> None:
                start.tolerance = before

            return restore
        ranking, count = self.ranking, len(self._pieces)
        one, other = numbers.below(count), numbers.below(count)
        self.left -= 1
        if ranking.alike(one, other):
            return None
        ranking.exchange(one, other)
        return lambda: ranking.exchange(one, other)

    def _plain_orders(self) -> Iterator[list[int]]:
        """Largest first by some measure; of few kinds also each kind first."""
        pieces = range(len(self._pieces))
        upright = [ways[0] for ways in self._pieces]
        areas = [width * height for width, height in upright]
        yield sorted(pieces, key=lambda piece: (-upright[piece][0], -upright[piece][1]))
        yield sorted(pieces, key=lambda piece: (-upright[piece][1], -upright[piece][0]))
        yield sorted(pieces, key=lambda piece: -areas[piece])
        yield sorted(pieces, key=lambda piece: -sum(upright[piece]))
        yield sorted(pieces, key=lambda piece: -max(upright[piece]))
        kinds = dict.fromkeys(tuple(ways) for ways in self._pieces)
        if len(kinds) <= FEW_KINDS:
            for kind in kinds:
                yield sorted(pieces, key=lambda piece: (self._pieces[piece] != kind, -areas[piece]))


def pursue(
    climber: Climber,
    starts: Sequence[Start],
    goal: Goal | None,
    take: Callable[[Trial], Goal | None],
) -> None:
    """Climb from several starts, from the better half of them in each further round.

    ``take`` is given the layout at the end of each climb, while the climber's ranking is that of
    the layout; it gives the next goal, or None when there is no more to reach.
    """
    alive = list(starts)
    for rounds_left in range(len(alive).bit_length(), 0, -1):
        ends_at = climber.left - climber.left // rounds_left
        for turn, start in enumerate(alive):
            until = climber.left - (climber.left - ends_at) // (len(alive) - turn)
            while goal is not None and climber.left > until:
                goal = take(climber.climb(start, goal, until))
            if goal is None:
                return
        if len(alive) > 1:
            alive = _better_half(climber, alive, goal)


def _better_half(climber: Climber, starts: list[Start], goal: Goal | None) -> list[Start]:
    if goal is None:
        return starts
    areas = []
    for start in starts:
        climber.ranking.arrange(start.order)
        areas.append(climber.lay(goal, start.tolerance).area)
    ranked = sorted(range(len(starts)), key=lambda index: -areas[index])
    return [starts[index] for index in ranked[: len(starts) // 2]]


def spread(found: Sequence[tuple[int, Start]]) -> list[Start]:
    """The best few to start from, least number first, of as many tolerances as there are."""
    seen: dict[Tolerance, int] = {}
    placed = []
    for _, start in sorted(found, key=lambda one: one[0]):
        seen[start.tolerance] = seen.get(start.tolerance, 0) + 1
        placed.append((seen[start.tolerance], start))
    placed.sort(key=lambda one: one[0])
    return [start for _, start in placed[:STARTS]]
