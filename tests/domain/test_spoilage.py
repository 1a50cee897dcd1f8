"""Laws of the starts: enough, not one too many, and never fewer for a harder wish."""

from __future__ import annotations

from decimal import Decimal
from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from service.domain.spoilage import (
    JEFFREYS,
    Interval,
    Prior,
    SpoilageSeen,
    probability_reached,
    probability_reached_seen,
    redo_starts,
    starts_for,
    starts_seen,
    wilson,
)

TIE = 1e-9
"""What a probability may be short by and still count as reached; the module's own words."""

pieces = st.integers(1, 100_000)
few_pieces = st.integers(1, 300)
shares = st.floats(0, 0.5)
chances = st.floats(0.01, 0.9999)
seen_pieces = st.tuples(st.integers(0, 2_000), st.integers(0, 2_000)).map(
    lambda both: SpoilageSeen(min(both), max(both))
)
priors = st.builds(Prior, share=st.floats(0.001, 0.3), weight=st.floats(20, 1_000))
costs = st.decimals(0, 500, places=2)
piece_costs = st.decimals("0.01", 50, places=2)


@given(good=pieces, share=shares, chance=chances)
def test_starts_are_enough_and_not_one_too_many(good: int, share: float, chance: float) -> None:
    """By the binomial distribution of scipy: N reaches the probability, N - 1 does not."""
    starts = starts_for(good, share, chance)
    assert stats.binom.sf(good - 1, starts, 1 - share) >= chance - 2 * TIE
    assert starts == good or stats.binom.sf(good - 1, starts - 1, 1 - share) < chance


@given(good=few_pieces, seen=seen_pieces, prior=priors, chance=chances)
def test_starts_after_seen_pieces_are_enough_and_not_one_too_many(
    good: int, seen: SpoilageSeen, prior: Prior, chance: float
) -> None:
    """By the beta-binomial distribution of scipy."""
    bad = prior.share * prior.weight + seen.spoiled
    fine = (1 - prior.share) * prior.weight + seen.made - seen.spoiled
    starts = starts_seen(good, seen, prior, chance)
    reached = stats.betabinom.sf(good - 1, starts, fine, bad)
    assert reached >= chance - 2 * TIE
    assert starts == good or stats.betabinom.sf(good - 1, starts - 1, fine, bad) < chance + TIE
    assert probability_reached_seen(good, starts, seen, prior) == pytest.approx(reached, abs=TIE)


@given(good=pieces, share=shares, chance=chances, more=st.floats(0, 0.4))
def test_a_harder_wish_never_takes_fewer_starts(
    good: int, share: float, chance: float, more: float
) -> None:
    """More pieces take more; a greater share or probability takes as many or more."""
    starts = starts_for(good, share, chance)
    assert starts_for(good + 1, share, chance) > starts
    assert starts_for(good, share + more, chance) >= starts
    assert starts_for(good, share, chance + more * (0.9999 - chance)) >= starts


@given(good=few_pieces, seen=seen_pieces, prior=priors, chance=chances)
def test_worse_news_never_takes_fewer_starts(
    good: int, seen: SpoilageSeen, prior: Prior, chance: float
) -> None:
    """Another good piece seen never takes more starts, another spoiled one never fewer."""
    starts = starts_seen(good, seen, prior, chance)
    another_good = SpoilageSeen(seen.spoiled, seen.made + 1)
    another_spoiled = SpoilageSeen(seen.spoiled + 1, seen.made + 1)
    assert starts_seen(good + 1, seen, prior, chance) > starts
    assert starts_seen(good, another_good, prior, chance) <= starts
    assert starts_seen(good, another_spoiled, prior, chance) >= starts


@given(good=pieces, chance=chances)
def test_where_nothing_is_spoiled_nothing_is_added(good: int, chance: float) -> None:
    """Share 0 is exact, whichever rule is asked."""
    never = Prior(share=0, weight=10)
    assert starts_for(good, 0, chance) == starts_for(good, Decimal(0), chance) == good
    assert starts_seen(good, SpoilageSeen(0, 5), never, chance) == good
    assert probability_reached(good, good, 0) == probability_reached(good, good + 3, 0) == 1
    assert redo_starts(good, 0, Decimal(60), Decimal(3)).expected_cost == 60 + 3 * good


def test_a_spoiled_piece_outvotes_the_belief_that_there_are_none() -> None:
    """A prior of share 0 learns from the first spoiled piece."""
    assert starts_seen(24, SpoilageSeen(1, 5), Prior(share=0, weight=10), 0.95) > 24


@given(good=st.integers(1, 10_000))
def test_an_even_chance_ties_exactly(good: int) -> None:
    """Of 2 n - 1 fair coins at least n are heads with a probability of exactly 1/2, by symmetry."""
    assert starts_for(good, 0.5, 0.5) == 2 * good - 1


def test_many_pieces_at_a_small_share() -> None:
    """100 000 good at 3 %: no float holds 0.97^100000; figure by scipy's nbinom.ppf."""
    assert 0.97**100_000 == 0
    assert starts_for(100_000, 0.03, 0.95) == 100_000 + stats.nbinom.ppf(0.95, 100_000, 0.97)


def test_the_more_is_seen_the_nearer_the_plain_quantile() -> None:
    """The same share seen on more pieces: the starts fall to those of a share that is known."""
    starts = [starts_seen(24, SpoilageSeen(n, 20 * n), JEFFREYS, 0.95) for n in (0, 1, 5, 5_000)]
    assert starts == sorted(starts, reverse=True)
    assert starts[-1] == starts_for(24, 0.05, 0.95)


def test_too_few_starts_reach_nothing() -> None:
    """Fewer starts than good pieces never do."""
    assert probability_reached(24, 23, 0.03) == 0
    assert probability_reached_seen(24, 23, SpoilageSeen(1, 20), JEFFREYS) == 0


@cache
def _cost_until_done(good: int, share: float, fixed: float, piece: float) -> tuple[float, int]:
    """V(n) and its N as the recursion reads, by scipy's binomial; N up to 40 spares."""
    found = []
    for starts in range(good, good + 40):
        cost = fixed + piece * starts
        for fine in range(1, good):
            later = _cost_until_done(good - fine, share, fixed, piece)[0]
            cost += _exactly(fine, starts, 1 - share) * later
        found.append((cost / (1 - share**starts), starts))
    return min(found)


@cache
def _exactly(fine: int, starts: int, chance: float) -> float:
    return float(stats.binom.pmf(fine, starts, chance))


@pytest.mark.parametrize(
    ("share", "setup", "piece", "extra"),
    [(0.03, "4.80", "3.58", "0"), (0.1, "60", "3.58", "25.50"), (0.25, "20", "0.50", "5")],
)
def test_the_choice_by_cost_is_the_recursions(
    share: float, setup: str, piece: str, extra: str
) -> None:
    """Against the recursion written out; the first run does not pay what a redo costs on top."""
    for good in (1, 2, 7, 12):
        choice = redo_starts(good, share, Decimal(setup), Decimal(piece), Decimal(extra))
        fixed = float(setup) + float(extra)
        cost, starts = _cost_until_done(good, share, fixed, float(piece))
        assert choice.starts == starts
        assert float(choice.expected_cost) == pytest.approx(cost - float(extra), abs=1e-6)


@given(
    good=st.integers(1, 60),
    share=st.floats(0.001, 0.2),
    setup=costs,
    piece=piece_costs,
    extra=costs,
)
def test_the_dearer_a_redo_the_surer_the_first_run(
    good: int, share: float, setup: Decimal, piece: Decimal, extra: Decimal
) -> None:
    """A dearer redo never makes more runs expected; more pieces never cost less."""
    choice = redo_starts(good, share, setup, piece)
    dearer = redo_starts(good, share, setup, piece, extra)
    assert dearer.expected_runs <= choice.expected_runs
    assert dearer.expected_starts >= choice.expected_starts
    assert redo_starts(good + 1, share, setup, piece).expected_cost > choice.expected_cost
    assert choice.probability_reached == probability_reached(good, choice.starts, share)


def test_the_cost_is_the_sum_of_its_parts_in_decimals() -> None:
    """Runs by set-up and starts by piece, without a binary float on the way."""
    setup, piece, extra = Decimal("4.81"), Decimal("3.07"), Decimal("0.33")
    choice = redo_starts(24, Decimal("0.03"), setup, piece, extra)
    runs, starts = choice.expected_runs, choice.expected_starts
    assert choice.expected_cost == setup * runs + piece * starts + extra * (runs - 1)


@given(made=st.integers(1, 10_000), part=st.floats(0, 1), level=st.floats(0.5, 0.999))
def test_the_interval_is_scipys(made: int, part: float, level: float) -> None:
    """Wilson's interval by scipy's binomtest; it holds the share seen and lies within 0 to 1."""
    spoiled = round(made * part)
    low, high = wilson(spoiled, made, level)
    expected = stats.binomtest(spoiled, made).proportion_ci(level, method="wilson")
    assert (low, high) == pytest.approx((expected.low, expected.high), abs=1e-9)
    assert 0 <= low <= spoiled / made <= high <= 1


def test_none_and_all_spoiled_end_at_the_ends() -> None:
    """Exactly 0 and exactly 1, not a rounding error beside them."""
    assert wilson(0, 20, 0.95).low == 0
    assert wilson(20, 20, 0.95) == Interval(low=1 - wilson(0, 20, 0.95).high, high=1)


@pytest.mark.parametrize(
    ("good", "share", "chance", "words"),
    [
        (0, 0.03, 0.95, "good_pieces is 0; it must be 1 to 1000000"),
        (10**9, 0.03, 0.95, "good_pieces is 1000000000; it must be 1 to 1000000"),
        (24, -0.1, 0.95, "share is -0.1; it must be 0 to 0.9"),
        (24, 1, 0.95, "share is 1.0; it must be 0 to 0.9"),
        (24, Decimal("NaN"), 0.95, "share is nan; it must be 0 to 0.9"),
        (24, 0.03, 0, "probability is 0; it must be above 0 and at most 0.999999"),
        (24, 0.03, 1, "probability is 1; it must be above 0 and at most 0.999999"),
        (1_000_000, 0.9, 0.95, "over 1000000 spoiled pieces"),
    ],
)
def test_starts_beyond_their_limits_are_refused(
    good: int, share: Decimal | float, chance: float, words: str
) -> None:
    """The message names the value and its limit."""
    with pytest.raises(ValueError, match=words):
        starts_for(good, share, chance)


def test_what_cannot_have_been_seen_or_believed_is_refused() -> None:
    """More spoiled than made, counts below 0, a prior of no weight, an interval of no pieces."""
    with pytest.raises(ValueError, match="spoiled is 3; it must be 0 to the 2 pieces made"):
        SpoilageSeen(3, 2)
    with pytest.raises(ValueError, match="made is -1; it must be 0 to 1000000000"):
        SpoilageSeen(0, -1)
    with pytest.raises(ValueError, match=r"share is 0.95; it must be 0 to 0.9"):
        Prior(0.95, 20)
    with pytest.raises(ValueError, match=r"weight is 0; it must be 0.01 to 1000000000"):
        Prior(0.03, 0)
    with pytest.raises(ValueError, match="made is 0; at least 1 piece"):
        wilson(0, 0, 0.95)
    with pytest.raises(ValueError, match="level is 95; it must be above 0 and below 1"):
        wilson(1, 20, 95)


def test_a_quantile_that_nothing_seen_can_bound_is_refused() -> None:
    """With nothing seen and no share favoured, 100 000 good pieces need over a million starts."""
    with pytest.raises(ValueError, match=r"probability is 0.99; .* over 1000000 spoiled pieces"):
        starts_seen(100_000, SpoilageSeen(0, 0), JEFFREYS, 0.99)


@pytest.mark.parametrize(
    ("good", "share", "setup", "piece", "words"),
    [
        (5_000, 0.1, "5", "3", "good_pieces is 5000 at a share of 0.1; .* at most 350"),
        (24, 0.1, "-5", "3", "setup_cost is -5; it must be 0 to 1000000000000"),
        (24, 0.1, "NaN", "3", "setup_cost is NaN; it must be 0 to"),
        (24, 0.1, "5", "Infinity", "piece_cost is Infinity; it must be 0 to"),
        (24, 0.1, "5", "0", "piece_cost is 0; it must be above 0"),
        (24, 0.1, "5", "1E-999999", "piece_cost is 1E-999999; it must be above 0 and at least"),
    ],
)
def test_costs_that_cannot_be_weighed_are_refused(
    good: int, share: float, setup: str, piece: str, words: str
) -> None:
    """The message names the value and its limit."""
    with pytest.raises(ValueError, match=words):
        redo_starts(good, share, Decimal(setup), Decimal(piece))
