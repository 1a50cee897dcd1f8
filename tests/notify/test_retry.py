"""The retry plan of Standard Webhooks 1.0.0 (rule W7) and Retry-After of RFC 9110, 10.2.3."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from email.utils import format_datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.notify.retry import (
    ATTEMPTS_MAX,
    WAITS_S,
    Verdict,
    next_attempt_at,
    retry_after_s,
    verdict_of,
)

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
MIDDLE = 0.5
"""The jitter that changes nothing."""

fractions = st.floats(min_value=0, max_value=1, exclude_max=True)
failed_attempts = st.integers(min_value=1, max_value=ATTEMPTS_MAX - 1)


def wait_s(
    attempts: int, jitter: float = MIDDLE, status: int | None = 500, after: str | None = None
) -> float:
    """Seconds until the next attempt, which must exist."""
    at = next_attempt_at(attempts, NOW, jitter, status, after)
    assert at is not None
    return (at - NOW).total_seconds()


def test_plan_is_the_published_example() -> None:
    """At once, 5 s, 5 min, 30 min, 2, 5, 10, 14, 20, 24 h: about 75.6 h (Standard Webhooks)."""
    assert WAITS_S[0] == 0
    waits = [wait_s(attempts) for attempts in range(1, ATTEMPTS_MAX)]
    assert waits == [5, 300, 1_800, 7_200, 18_000, 36_000, 50_400, 72_000, 86_400]
    assert sum(waits) / 3_600 == pytest.approx(75.6, abs=0.05)


@pytest.mark.parametrize("attempts", [ATTEMPTS_MAX, ATTEMPTS_MAX + 1])
def test_nothing_follows_the_tenth_attempt(attempts: int) -> None:
    """After the last attempt there is no next one, whatever the receiver asks for."""
    assert next_attempt_at(attempts, NOW, MIDDLE, 503, "60") is None


@given(failed_attempts, fractions)
def test_jitter_keeps_within_a_fifth(attempts: int, jitter: float) -> None:
    """The wait moves by 20 % at most, either way."""
    assert 0.8 * WAITS_S[attempts] <= wait_s(attempts, jitter) + 1e-6
    assert wait_s(attempts, jitter) <= 1.2 * WAITS_S[attempts] + 1e-6


def test_jitter_reaches_both_ends() -> None:
    """0 gives 80 % and nearly 1 gives nearly 120 % of the planned wait."""
    assert wait_s(2, 0.0) == pytest.approx(240)
    assert wait_s(2, 0.999_999) == pytest.approx(360, abs=0.01)


@pytest.mark.parametrize(
    ("after", "expected_s"),
    [("1", 300), ("300", 300), ("450", 450), ("600", 600), ("86400", 600), ("999999999", 600)],
)
def test_retry_after_is_held_between_the_plan_and_twice_that(after: str, expected_s: int) -> None:
    """A receiver can slow down, up to twice the planned wait, and never speed up."""
    assert wait_s(2, MIDDLE if expected_s == 300 else 0.0, 503, after) == expected_s


@given(failed_attempts, fractions, st.integers(min_value=0, max_value=200_000))
def test_nobody_is_called_before_they_asked_to_be(
    attempts: int, jitter: float, asked_s: int
) -> None:
    """Within the bound, Retry-After is a floor and jitter adds to it at most a fifth."""
    wait = wait_s(attempts, jitter, 429, str(asked_s))
    planned = max(60, WAITS_S[attempts])
    assert wait >= min(asked_s, 2 * planned) - 1e-6
    assert wait <= 1.2 * max(planned, min(asked_s, 2 * planned)) + 1e-6


@pytest.mark.parametrize("status", [429, 502, 504])
def test_overloaded_receiver_gets_a_minute(status: int) -> None:
    """429, 502 and 504 say slow down (Standard Webhooks); the minute is ours."""
    assert wait_s(1, MIDDLE, status) == 60
    assert wait_s(3, MIDDLE, status) == 1_800


def test_retry_after_as_http_date() -> None:
    """An HTTP date counts from now; one gone by asks for nothing."""
    later = format_datetime(NOW + timedelta(seconds=400), usegmt=True)
    assert retry_after_s(later, NOW) == 400
    assert wait_s(2, 0.0, 503, later) == 400
    assert retry_after_s(format_datetime(NOW - timedelta(days=1), usegmt=True), NOW) == 0


@pytest.mark.parametrize(
    ("date", "expected"),
    [
        # RFC 9110, 5.6.7: the three forms of one date
        ("Sun, 06 Nov 1994 08:49:37 GMT", 37.0),
        ("Sunday, 06-Nov-94 08:49:37 GMT", 37.0),
        ("Sun Nov  6 08:49:37 1994", 37.0),
    ],
)
def test_all_three_date_forms_are_read(date: str, expected: float) -> None:
    """A receiver may write any form of HTTP date that RFC 9110 lists."""
    assert retry_after_s(date, datetime(1994, 11, 6, 8, 49, tzinfo=UTC)) == expected


@pytest.mark.parametrize(
    "text", [None, "", "soon", "-5", "1.5", "1e9", "٥", "9" * 400, "Mon, 99 Foo 2026 99:99:99 GMT"]
)
def test_unreadable_retry_after_is_no_wish(text: str | None) -> None:
    """What is neither a number nor a date is passed over."""
    assert retry_after_s(text, NOW) is None
    assert wait_s(2, MIDDLE, 503, text) == 300


@given(st.text())
def test_retry_after_never_fails(text: str) -> None:
    """Whatever a receiver writes there, the wait stays within the plan's bounds."""
    assert 240 <= wait_s(2, 0.0, 503, text) <= 600


def test_only_2xx_is_success_and_410_retires() -> None:
    """Standard Webhooks: 2xx is success, all else is failure, 3xx too; 410 disables."""
    verdicts = {status: verdict_of(status) for status in range(100, 600)}
    assert {s for s, v in verdicts.items() if v is Verdict.DELIVERED} == set(range(200, 300))
    assert {s for s, v in verdicts.items() if v is Verdict.ENDPOINT_GONE} == {410}
    assert verdict_of(None) is Verdict.RETRY
