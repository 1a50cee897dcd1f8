"""When a failed delivery is tried again: the plan of Standard Webhooks 1.0.0, section 10 rule W7.

Ten attempts over about 75 hours. Nothing here reads a clock or rolls dice: both are passed in.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from enum import Enum

WAITS_S: tuple[int, ...] = (
    0,
    5,
    5 * 60,
    30 * 60,
    2 * 3_600,
    5 * 3_600,
    10 * 3_600,
    14 * 3_600,
    20 * 3_600,
    24 * 3_600,
)
"""Seconds before each attempt, the first at once."""

ATTEMPTS_MAX = len(WAITS_S)
JITTER_SHARE = 0.2
SLOW_DOWN_STATUSES = frozenset({429, 502, 504})
"""A receiver that answers with these is overloaded."""

SLOW_DOWN_WAIT_S = 60
"""Least wait after such an answer (ours)."""

_SECONDS = re.compile(r"[0-9]{1,9}")


class Verdict(Enum):
    """What an attempt's status means for the delivery and its endpoint."""

    DELIVERED = "delivered"
    RETRY = "retry"
    ENDPOINT_GONE = "endpoint_gone"


def verdict_of(status: int | None) -> Verdict:
    """2xx is success; 410 retires the endpoint; all else, 3xx and no answer (None), is retried."""
    if status is not None and 200 <= status < 300:
        return Verdict.DELIVERED
    return Verdict.ENDPOINT_GONE if status == 410 else Verdict.RETRY


def retry_after_s(value: str | None, now: datetime) -> float | None:
    """Seconds asked for by a Retry-After field (RFC 9110, 10.2.3): a number or an HTTP date.

    ``now`` is aware. None for no field or one that cannot be read; a date gone by gives 0.
    """
    if value is None:
        return None
    text = value.strip()
    if _SECONDS.fullmatch(text):
        return float(text)
    try:
        moment = parsedate_to_datetime(text)
    except (ValueError, OverflowError):
        return None
    aware = moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)
    return max(0.0, (aware - now).total_seconds())


def next_attempt_at(
    attempts: int,
    now: datetime,
    jitter: float,
    status: int | None,
    retry_after: str | None,
) -> datetime | None:
    """When to try again after ``attempts`` (1 or more) have failed; None when none is left.

    ``jitter`` from 0 up to 1 moves the wait by 20 % either way, last. Retry-After is honoured but
    held between the planned wait and twice that; jitter then only adds, so that nobody is called
    before they asked to be.
    """
    if attempts >= ATTEMPTS_MAX:
        return None
    planned = float(WAITS_S[max(1, attempts)])
    if status in SLOW_DOWN_STATUSES:
        planned = max(planned, float(SLOW_DOWN_WAIT_S))
    wait = planned * (1 + JITTER_SHARE * (2 * jitter - 1))
    asked = min(retry_after_s(retry_after, now) or 0.0, 2 * planned)
    if wait < asked:
        wait = asked * (1 + JITTER_SHARE * jitter)
    return now + timedelta(seconds=wait)
