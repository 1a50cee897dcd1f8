"""What one kind of problem is."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ProblemKind:
    """One kind: its HTTP ``status``, and what its page tells a developer.

    ``retry_after_s`` is sent as Retry-After with each occurrence, in whole seconds.
    """

    code: str
    status: int
    title: str
    explanation: str
    remedy: str
    retry_after_s: int | None = None
