"""A memory bounded by bytes, as proofs are kept in."""

from __future__ import annotations

from service.intake.byte_bound import ByteBound


def test_no_more_is_kept_than_the_bound() -> None:
    """The longest unused goes first; what is larger than the bound is never kept."""
    kept: ByteBound[str] = ByteBound(100)
    kept.put("a", "A", 40)
    kept.put("b", "B", 40)
    assert kept.get("a") == "A"
    kept.put("c", "C", 40)
    assert [kept.get(key) for key in "abc"] == ["A", None, "C"]
    kept.put("huge", "H", 101)
    assert kept.get("huge") is None
    assert kept.get("a") == "A"


def test_what_is_put_twice_counts_once() -> None:
    """Two threads that drew the same do not push others out."""
    kept: ByteBound[str] = ByteBound(100)
    for _ in range(5):
        kept.put("a", "A", 45)
    kept.put("b", "B", 45)
    assert [kept.get(key) for key in "ab"] == ["A", "B"]
