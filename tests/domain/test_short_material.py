"""Material that falls away: nobody waits while it is enough, and the most urgent keep theirs.

The laws are checked beside plain sums: tickets can all have theirs by their days if, for each day,
no more is needed up to it than is there (Hall, J. London Math. Soc. 10, 1935, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from service.domain.short_material import EVER, Supply, Waiting, ready_days

MONDAY = date(2026, 6, 1)

days = st.integers(0, 8).map(lambda ahead: MONDAY + timedelta(days=ahead))
supplies = st.lists(st.builds(Supply, days, st.integers(1, 9)), max_size=4)
lines = st.lists(st.tuples(st.integers(1, 6), days, days, st.booleans()), min_size=1, max_size=6)


def _waiting(rows: Sequence[tuple[int, date, date, bool]]) -> list[Waiting]:
    return [Waiting(index, *row) for index, row in enumerate(rows)]


def _enough(wanted: Sequence[tuple[date, int]], there: Sequence[Supply]) -> bool:
    return all(
        sum(count for other, count in wanted if other <= day)
        <= sum(one.quantity for one in there if one.day <= day)
        for day, _ in wanted
    )


@given(rows=lines, there=supplies, fallen=supplies, ordered=days)
def test_nobody_waits_while_it_is_enough(
    rows: list[tuple[int, date, date, bool]],
    there: list[Supply],
    fallen: list[Supply],
    ordered: date,
) -> None:
    """Who waits goes on later than planned, and no later than with what is ordered now.

    With the new days, and with what is ordered from its day on, there is enough for all that rested
    on what there was; where it was enough for everybody, that is all of them.
    """
    waiting = _waiting(rows)
    found = ready_days(waiting, there, fallen, ordered=ordered)
    for one in waiting:
        if one.ticket_id in found:
            assert not one.begun
            assert one.day < found[one.ticket_id] <= ordered
    planned = [(one.day, one.quantity) for one in waiting]
    if _enough(planned, there):
        assert found == {}
    assert ready_days(waiting, there, [], ordered=ordered) == {}
    if _enough(planned, [*there, *fallen]) and not any(one.begun for one in waiting):
        ahead = ((found.get(one.ticket_id, one.day), one.quantity) for one in waiting)
        assert _enough([pair for pair in ahead if pair[0] < ordered], there)


@given(rows=lines, there=supplies, fallen=supplies, ordered=days)
def test_the_most_urgent_waits_only_for_what_is_not_there(
    rows: list[tuple[int, date, date, bool]],
    there: list[Supply],
    fallen: list[Supply],
    ordered: date,
) -> None:
    """The earliest promised, then the first written, gives way to no other that is not begun."""
    waiting = [Waiting(index, *row[:3]) for index, row in enumerate(rows)]
    first = min(waiting, key=lambda one: (one.promised_day, one.ticket_id))
    found = ready_days(waiting, there, fallen, ordered=ordered)
    if first.ticket_id in found:
        assert sum(one.quantity for one in there if one.day <= first.day) < first.quantity
        alone = ready_days([first], there, fallen, ordered=ordered)
        assert alone.get(first.ticket_id) == found[first.ticket_id]


def test_what_is_owed_comes_first_and_what_was_missing_before_is_left_alone() -> None:
    """A shelf below nothing takes of the next delivery; whom it never covered waits for no less."""
    delivery = Supply(MONDAY, 10)
    six = Waiting(1, 6, MONDAY, MONDAY)
    ordered = MONDAY + timedelta(days=2)
    shelf = Supply(EVER, -3)
    assert ready_days([six], [shelf, delivery], [Supply(MONDAY, 1)], ordered=ordered) == {}
    assert ready_days([six], [shelf], [delivery], ordered=ordered) == {1: ordered}
    # Accepted when the delivery was overdue, it waits for what was ordered then.
    later = Waiting(1, 6, ordered, ordered, since=MONDAY + timedelta(days=1))
    assert ready_days([later], [shelf], [delivery], ordered=ordered + timedelta(days=1)) == {}
    bought_in = Waiting(2, 8, MONDAY, MONDAY)
    found = ready_days([six, bought_in], [delivery], [Supply(MONDAY, 1)], ordered=ordered)
    assert found == {}
