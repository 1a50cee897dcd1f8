"""Starts and intervals against published figures and tables computed outside the project."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest

from service.domain.spoilage import (
    JEFFREYS,
    SpoilageSeen,
    probability_reached,
    redo_starts,
    starts_for,
    starts_seen,
    wilson,
)

SHARES = ("0.01", "0.02", "0.03", "0.05", "0.10")

STARTS_AT_95_PERCENT = {
    12: (13, 13, 14, 14, 16),
    24: (25, 26, 26, 27, 30),
    48: (50, 51, 52, 53, 58),
    100: (103, 105, 106, 109, 117),
}
"""By good pieces, one for each share. Source: algorithms topic 6, computed with scipy.stats."""

NEWCOMBES_EXAMPLES = (
    (81, 263, 0.2553, 0.3662),
    (15, 148, 0.0624, 0.1605),
    (0, 20, 0.0000, 0.1611),
    (1, 29, 0.0061, 0.1718),
)
"""Spoiled, made and the limits at 95 %, printed to four decimals.

Source: Newcombe, Statistics in Medicine 17:857-872, 1998, counts from memory; limits computed with
scipy (algorithms topic 6).
"""

PRINTED_TO = 5e-5 + 1e-9
PIECE_COST = Decimal("3.58")


def _rows(file: Path) -> Iterator[dict[str, str]]:
    with file.open(encoding="utf-8", newline="") as lines:
        yield from csv.DictReader(lines)


def test_starts_of_the_table() -> None:
    """Source: algorithms topic 6, least N with P(Binomial(N, 1 - q) >= n) >= 0.95."""
    for good, expected in STARTS_AT_95_PERCENT.items():
        starts = tuple(starts_for(good, Decimal(share), 0.95) for share in SHARES)
        assert starts == expected


def test_what_24_to_26_starts_reach() -> None:
    """Source: algorithms topic 6. At 3 % the rule of the mean, 24 / 0.97, falls short too often."""
    reached = [round(probability_reached(24, starts, 0.03), 3) for starts in (24, 25, 26)]
    assert reached == [0.481, 0.828, 0.958]


@pytest.mark.parametrize(
    ("spoiled", "made", "expected", "plugged_in"),
    [(1, 20, 30, 27), (3, 100, 27, 26), (0, 20, 27, 24), (30, 1_000, 26, 26)],
)
def test_few_pieces_seen_take_more_spares(
    spoiled: int, made: int, expected: int, plugged_in: int
) -> None:
    """Source: algorithms topic 6: 24 good at 95 %, Jeffreys prior, beside the share plugged in."""
    assert starts_seen(24, SpoilageSeen(spoiled, made), JEFFREYS, 0.95) == expected
    assert starts_for(24, spoiled / made, 0.95) == plugged_in


@pytest.mark.parametrize(
    ("setup", "starts", "cost"),
    [("4.80", 25, "95.96"), ("20", 25, "113.87"), ("60", 26, "155.87")],
)
def test_the_set_up_decides_the_spares(setup: str, starts: int, cost: str) -> None:
    """Source: algorithms topic 6 (reject allowance): 24 good at 3 %, 3.58 a piece."""
    choice = redo_starts(24, Decimal("0.03"), Decimal(setup), PIECE_COST)
    assert choice.starts == starts
    assert round(choice.expected_cost, 2) == Decimal(cost)


@pytest.mark.parametrize(("setup", "starts"), [("4.80", 26), ("20", 28), ("60", 29)])
def test_a_greater_share_takes_more_spares(setup: str, starts: int) -> None:
    """Source: algorithms topic 6 (reject allowance): 24 good at 10 %, 3.58 a piece."""
    assert redo_starts(24, Decimal("0.10"), Decimal(setup), PIECE_COST).starts == starts


@pytest.mark.parametrize(("spoiled", "made", "low", "high"), NEWCOMBES_EXAMPLES)
def test_intervals_as_printed(spoiled: int, made: int, low: float, high: float) -> None:
    """Newcombe's four examples."""
    assert wilson(spoiled, made, 0.95) == pytest.approx((low, high), abs=PRINTED_TO)


def test_the_interval_of_3_in_100() -> None:
    """Source: algorithms topic 6."""
    assert wilson(3, 100, 0.95) == pytest.approx((0.0103, 0.0845), abs=PRINTED_TO)


@pytest.mark.reference_data
def test_every_row_of_the_starts(reference_data: Path) -> None:
    """Source: spoilage_starts.csv, computed with scipy.stats; probabilities to six decimals."""
    rows = list(_rows(reference_data / "spoilage_starts.csv"))
    assert len(rows) == 135
    for row in rows:
        good, share = int(row["good_needed"]), Decimal(row["spoil_rate"])
        starts = starts_for(good, share, float(row["prob"]))
        reached = probability_reached(good, starts, share)
        assert starts == int(row["starts"])
        assert reached == pytest.approx(float(row["prob_reached"]), abs=5e-7 + 1e-9)


@pytest.mark.reference_data
def test_every_row_of_the_intervals(reference_data: Path) -> None:
    """Source: wilson_newcombe_1998.csv; the examples written above are its rows."""
    rows = list(_rows(reference_data / "wilson_newcombe_1998.csv"))
    names = ("events", "trials", "wilson_low", "wilson_high")
    assert [tuple(float(row[name]) for name in names) for row in rows] == list(NEWCOMBES_EXAMPLES)
    for row in rows:
        interval = wilson(int(row["events"]), int(row["trials"]), float(row["conf"]))
        printed = (float(row["wilson_low"]), float(row["wilson_high"]))
        assert interval == pytest.approx(printed, abs=PRINTED_TO)
