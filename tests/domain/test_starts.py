"""Pieces to start, for every number of good ones, against a statistics library."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from service.domain.methods import Method
from service.domain.price_book import StartsBy
from service.domain.redo_table import MOST_BY_COST, weighed_by_cost
from service.domain.spoilage import Belief, Prior, SpoilageSeen, redo_starts, starts_seen
from service.domain.starts import StartsByCost, StartsTable, spoilage_belief, starts_table
from service.domain.work import line_account, line_work
from tests.domain.shops import (
    tiny_decoration,
    tiny_line,
    tiny_methods,
    tiny_prices,
    tiny_shop,
)

TIE = 1e-9
"""What a probability may be off by before an answer is called wrong."""

CUT, GLITTER = tiny_methods()
beliefs = st.builds(
    lambda share, weight: Belief(spoiled=share * weight, good=(1 - share) * weight),
    share=st.floats(0.001, 0.45),
    weight=st.floats(2, 2_000),
)
chances = st.floats(0.5, 0.999)
seen_pieces = st.tuples(st.integers(0, 1_000), st.integers(0, 1_000)).map(
    lambda both: SpoilageSeen(min(both), max(both))
)


def _book_table(*methods: Method, **seen: SpoilageSeen) -> StartsTable:
    """By a book that expects 3 % as if seen on 200 pieces, with 95 %."""
    book = tiny_prices(spoilage_share=Decimal("0.03"))
    return starts_table(book, methods, {key.replace("_", "-"): one for key, one in seen.items()})


@settings(max_examples=60, deadline=None)
@given(belief=beliefs, chance=chances, good=st.integers(1, 600))
def test_starts_are_the_beta_binomial_quantile(belief: Belief, chance: float, good: int) -> None:
    """Source: scipy's betabinom: N starts reach the probability, N - 1 do not."""
    starts = StartsTable(belief, chance).of(good)
    reached = stats.betabinom.sf(good - 1, [starts - 1, starts], belief.good, belief.spoiled)
    assert reached[1] >= chance - TIE
    assert starts == good or reached[0] < chance + TIE


@settings(max_examples=30, deadline=None)
@given(
    share=st.floats(0.001, 0.3),
    weight=st.integers(20, 1_000),
    seen=seen_pieces,
    chance=chances,
    good=st.integers(1, 300),
)
def test_starts_are_those_of_pieces_seen(
    share: float, weight: int, seen: SpoilageSeen, chance: float, good: int
) -> None:
    """The table and the single answer of the spoilage rules are one."""
    prior = Prior(share=share, weight=weight)
    found = StartsTable(prior.after(seen), chance).of(good)
    assert found == starts_seen(good, seen, prior, chance) or _ties(
        prior.after(seen), chance, good, found
    )


def _ties(belief: Belief, chance: float, good: int, starts: int) -> bool:
    """True where some number of starts reaches the probability to within what floats tell."""
    reached = stats.betabinom.sf(good - 1, [starts - 1, starts], belief.good, belief.spoiled)
    return bool(abs(reached - chance).min() <= 2 * TIE)


@settings(max_examples=30, deadline=None)
@given(belief=beliefs, chance=chances, most=st.integers(2, 700))
def test_every_good_piece_takes_a_start_or_more(belief: Belief, chance: float, most: int) -> None:
    """Starts grow by one at the least, and what was told before is told again."""
    table = StartsTable(belief, chance)
    first = table.of(1)
    starts = [table.of(good) for good in range(1, most + 1)]
    assert starts[0] == first
    assert all(after > before for before, after in pairwise(starts))
    assert all(n >= good for good, n in enumerate(starts, 1))


@settings(max_examples=30, deadline=None)
@given(belief=beliefs, chance=chances, most=st.integers(1, 300))
def test_greatest_shares_bound_all_larger_quantities(
    belief: Belief, chance: float, most: int
) -> None:
    """By looking at them all; they never rise."""
    table = StartsTable(belief, chance)
    shares = table.greatest_shares(most)
    plain = [table.of(good) / good for good in range(1, most + 1)]
    assert len(shares) == most + 1
    for good in range(1, most + 1):
        assert shares[good] == max(plain[good - 1 :])
    assert shares[0] == shares[1]


def test_where_nothing_is_spoiled_nothing_is_added() -> None:
    """A book that expects no spoilage, and a line without decorations."""
    none = starts_table(tiny_prices(), [CUT])
    assert [none.of(good) for good in (1, 24, 5_000)] == [1, 24, 5_000]
    assert _book_table().of(24) == 24
    assert set(none.greatest_shares(10)) == {1}


def test_a_method_may_expect_its_own_share() -> None:
    """The book's 3 % where the method says nothing, against 20 %, both as if seen on 200 pieces.

    24 good with 95 %: by scipy's betabinom 26 reach .948, 27 .986; at 20 % 34 .923, 35 .953.
    """
    clumsy = CUT.model_copy(update={"spoilage_share": Decimal("0.20")})
    careful = CUT.model_copy(update={"spoilage_share": Decimal(0)})
    starts = [_book_table(method).of(24) for method in (careful, CUT, clumsy)]
    assert starts == [24, 27, 35]
    assert starts[1] == starts_seen(24, SpoilageSeen(0, 0), Prior(0.03, 200), 0.95)


def test_what_was_seen_moves_the_starts() -> None:
    """Every piece of 4,000 good, nothing seen, and a quarter of 400 spoiled; other methods' not."""
    good, bad = SpoilageSeen(0, 4_000), SpoilageSeen(100, 400)
    starts = [
        _book_table(CUT, cut_film=good).of(100),
        _book_table(CUT).of(100),
        _book_table(CUT, cut_film=bad).of(100),
    ]
    assert starts == sorted(set(starts))
    assert _book_table(CUT, dye_on_glitter=bad).of(100) == starts[1]


def test_a_spoiled_piece_outvotes_the_belief_that_there_are_none() -> None:
    """A book of no spoilage learns from the first spoiled piece."""
    table = starts_table(tiny_prices(), [CUT], {"cut-film": SpoilageSeen(1, 5)})
    assert table.of(24) >= 24
    worse = starts_table(tiny_prices(), [CUT], {"cut-film": SpoilageSeen(30, 100)})
    assert worse.of(24) > 24


@settings(max_examples=40, deadline=None)
@given(seen=seen_pieces, good=st.integers(1, 200))
def test_worse_news_never_takes_fewer_starts(seen: SpoilageSeen, good: int) -> None:
    """Another good piece seen never takes more starts, another spoiled one never fewer."""
    starts = _book_table(CUT, cut_film=seen).of(good)
    better = SpoilageSeen(seen.spoiled, seen.made + 1)
    worse = SpoilageSeen(seen.spoiled + 1, seen.made + 1)
    assert _book_table(CUT, cut_film=better).of(good) <= starts
    assert _book_table(CUT, cut_film=worse).of(good) >= starts


def test_a_piece_is_good_when_every_decoration_is() -> None:
    """Two methods of 3 % spoil 5.91 % together: 1 - 0.97 x 0.97, known as the less known is."""
    both = _book_table(CUT, GLITTER)
    assert both.of(24) > _book_table(CUT).of(24)
    together = StartsTable(Belief(spoiled=0.0591 * 200, good=0.9409 * 200), 0.95)
    assert [both.of(n) for n in (1, 24, 300)] == [together.of(n) for n in (1, 24, 300)]
    known = _book_table(CUT, GLITTER, cut_film=SpoilageSeen(30, 1_000))
    assert [known.of(n) for n in (1, 24, 300)] == [both.of(n) for n in (1, 24, 300)]


def test_no_pieces_and_no_probability_are_faults() -> None:
    """Nothing wanted, and certainty."""
    with pytest.raises(ValueError, match="0 good pieces make no sense"):
        _book_table(CUT).of(0)
    with pytest.raises(ValueError, match="between 0 and 1"):
        StartsTable(Belief(1, 9), 1.0)


@pytest.mark.parametrize("methods", [[CUT], [CUT] * 8])
def test_all_spoiled_is_reckoned_with_as_nine_of_ten(methods: list[Method]) -> None:
    """However much was spoiled, and by however many methods, starts stay within reach.

    Of Beta(19.8, 2.2) by scipy's betabinom 24 good of 1 145 starts have .94999, of 1 146 .95007.
    """
    book = tiny_prices(spoilage_share=Decimal("0.03"), spoilage_prior_pieces=22)
    seen = {CUT.id: SpoilageSeen(10**8, 10**8)}
    assert spoilage_belief(book, methods, seen).share == pytest.approx(0.9)
    assert starts_table(book, [GLITTER, *methods], seen).of(24) == 1_146


KNOWN = 1e9
"""So many pieces seen leave no doubt of the share."""


def _by_cost(share: float, setup: str, piece: str = "3.58", weight: float = KNOWN) -> StartsByCost:
    belief = Belief(spoiled=share * weight, good=(1 - share) * weight)
    return StartsByCost(belief, float(f"{Decimal(setup) / Decimal(piece):.3g}"))


@pytest.mark.parametrize(
    ("share", "setup", "starts"),
    [
        (0.03, "4.80", 25),
        (0.03, "20", 25),
        (0.03, "60", 26),
        (0.10, "4.80", 26),
        (0.10, "20", 28),
        (0.10, "60", 29),
    ],
)
def test_the_redo_cost_decides_the_starts(share: float, setup: str, starts: int) -> None:
    """Source: algorithms topic 6 (reject allowance): 24 good, 3.58 a piece."""
    assert _by_cost(share, setup).of(24) == starts


@settings(max_examples=30, deadline=None)
@given(
    share=st.floats(0.005, 0.4),
    setup=st.sampled_from(["0", "1", "4.80", "20", "60", "300"]),
    good=st.integers(1, 60),
)
def test_a_share_known_for_sure_gives_the_cheapest_starts(
    share: float, setup: str, good: int
) -> None:
    """As the single answer by cost, which the recursion read plainly is checked against."""
    ratio = Decimal(f"{Decimal(setup) / Decimal('3.58'):.3g}")
    table = _by_cost(share, setup)
    single = redo_starts(good, share, ratio, Decimal(1))
    assert table.of(good) in {single.starts, single.starts + 1}
    if table.of(good) != single.starts:
        # Costs tie, or the piece before takes as many.
        again = redo_starts(good, share, ratio * Decimal("1.000001"), Decimal(1))
        assert again.starts == table.of(good) or table.of(good) == table.of(good - 1) + 1


@settings(max_examples=6, deadline=None)
@given(belief=beliefs, ratio=st.sampled_from([0.0, 0.5, 5.0, 200.0]))
def test_by_cost_too_every_good_piece_takes_a_start_or_more(belief: Belief, ratio: float) -> None:
    """Beyond what is weighed by cost as well; and what spoils costs no fewer starts than none."""
    table = StartsByCost(belief, ratio)
    starts = [table.of(good) for good in range(1, MOST_BY_COST + 100)]
    assert starts[0] >= 1
    assert all(later > earlier for earlier, later in pairwise(starts))
    assert StartsByCost(belief, ratio).of(7) == starts[6]
    assert 1 <= weighed_by_cost(belief) <= MOST_BY_COST


@pytest.mark.parametrize(("weight", "share", "ratio"), [(20, 0.1, 3.0), (60, 0.3, 25.0)])
def test_by_cost_few_pieces_seen_are_reckoned_with(
    weight: float, share: float, ratio: float
) -> None:
    """The recursion read plainly, with scipy's betabinom; up to 40 spares are looked at."""
    belief = Belief(spoiled=share * weight, good=(1 - share) * weight)
    table, costs = StartsByCost(belief, ratio), [0.0]
    for good in range(1, 13):
        found = []
        for starts in range(good, good + 40):
            fine = stats.betabinom.pmf(range(good), starts, belief.good, belief.spoiled)
            later = sum(fine[k] * costs[good - k] for k in range(1, good))
            found.append(((ratio + starts + later) / (1 - fine[0]), starts))
        costs.append(min(found)[0])
        assert table.of(good) == min(found)[1]


def test_the_dearer_another_run_the_more_spares() -> None:
    """Where nothing is spoiled none are started."""
    by_setup = [_by_cost(0.05, setup).of(48) for setup in ("0", "5", "20", "60", "300")]
    assert by_setup == sorted(set(by_setup))
    assert StartsByCost(Belief(spoiled=0, good=10), 50).of(24) == 24


def test_the_price_book_says_what_decides() -> None:
    """By cost a delay of 80 asks for more spares than set-ups alone do; neither hangs on number."""
    line = tiny_line(tiny_shop(), {"M": 24}, tiny_decoration())
    found = {}
    for name, book in {
        "probability": tiny_prices(spoilage_share=Decimal("0.05")),
        "cost": tiny_prices(spoilage_share=Decimal("0.05"), starts_by=StartsBy.REDO_COST),
        "delay": tiny_prices(
            spoilage_share=Decimal("0.05"),
            starts_by=StartsBy.REDO_COST,
            redo_extra_cost=Decimal(80),
        ),
    }.items():
        shop = tiny_shop(prices=book)
        found[name] = line_work(shop, line).starts
        account = line_account(shop, line)
        assert found[name] == account.starts.of(24)
        assert isinstance(account.starts, StartsByCost) == (name != "probability")
    assert found["delay"] > found["cost"] >= 24
