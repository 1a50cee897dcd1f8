"""The set-ups that a run saves, and what comes off its tickets' shares."""

from __future__ import annotations

from collections import Counter
from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from service.domain.methods import OperationKind
from service.domain.run_setups import BookedSetup, off_shares, run_setups_s, superfluous
from service.domain.work import line_work
from tests.domain.shops import tiny_line, tiny_shop

DAY = date(2026, 6, 1)
PRINT, CUT = OperationKind.PRINT, OperationKind.CUT

tickets, stations = st.integers(1, 4), st.sampled_from(["print", "cut"])
days = st.integers(0, 3).map(lambda n: DAY + timedelta(days=n))
setups = st.builds(
    BookedSetup, tickets, stations, st.sampled_from([PRINT, CUT]), st.integers(1, 900), days
)


def test_set_ups_are_those_that_a_line_books() -> None:
    """Those of a medium, where it is printed and cut, as the line's own work has them."""
    shop = tiny_shop()
    for line in (tiny_line(shop, {"S": 2}),):
        methods = [shop.method_by_id[one.method_id or ""] for one in line.decorations]
        work = line_work(shop, line)
        media = {step.medium for step in work.operations if step.medium}
        for medium in media:
            booked: Counter[tuple[str, OperationKind]] = Counter()
            for step in work.operations:
                if step.medium == medium and step.kind in (PRINT, CUT):
                    booked[step.station, step.kind] += int(step.run_setup_min * 60)
            assert run_setups_s(methods, medium) == +booked


def test_the_longest_set_up_is_kept_and_of_equals_the_first() -> None:
    """Whatever the order in which tickets are named."""
    rows = [
        BookedSetup(1, "print", PRINT, 360, DAY + timedelta(days=1)),
        BookedSetup(2, "print", PRINT, 360, DAY),
        BookedSetup(3, "print", PRINT, 300, DAY),
        BookedSetup(3, "cut", CUT, 360, DAY),
    ]
    for order in (rows, rows[::-1]):
        assert {(one.ticket_id, one.station) for one in superfluous(order)} == {
            (1, "print"),
            (3, "print"),
        }


@given(
    rows=st.lists(setups, max_size=8),
    shares=st.dictionaries(st.tuples(tickets, stations, days), st.integers(1, 900)),
)
def test_no_share_falls_below_nothing(
    rows: list[BookedSetup], shares: dict[tuple[int, str, date], int]
) -> None:
    """What comes off is never more than a share has, nor than the set-ups take."""
    less_s: Counter[tuple[int, str]] = Counter()
    for one in superfluous(rows):
        less_s[one.ticket_id, one.station] += one.seconds
    off_s = off_shares([(*key, seconds) for key, seconds in shares.items()], less_s)
    assert all(0 < off <= shares[key] for key, off in off_s.items())
    for (ticket, station), less in less_s.items():
        booked = sum(each for key, each in shares.items() if key[:2] == (ticket, station))
        off = sum(each for key, each in off_s.items() if key[:2] == (ticket, station))
        assert off == min(less, booked)
