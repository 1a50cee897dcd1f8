"""Fibre labels: what is refused beyond the published examples, and the laws of the check."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.fibre_labels import label_faults, pure_label_holds, stated_matches_analysed
from service.domain.fibres import EU_LABEL_NAMES, US_LABEL_NAMES, Fibre, FibreContent, fibre_named
from service.domain.shop import LabelRegime

EU = LabelRegime.EU
US = LabelRegime.US
NAMED = [fibre.value for fibre in Fibre if fibre is not Fibre.OTHER]


def _label(*shares: tuple[str, str]) -> list[tuple[str, Decimal]]:
    return [(name, Decimal(percent)) for name, percent in shares]


def test_every_label_name_is_known() -> None:
    """Each name of either table stands for the fibre it is listed under; olefin is two."""
    for names in (EU_LABEL_NAMES, US_LABEL_NAMES):
        for fibre, written in names.items():
            for name in written:
                olefin = name == "olefin" and fibre is Fibre.POLYETHYLENE
                assert fibre_named(name) is (Fibre.POLYPROPYLENE if olefin else fibre)


def test_case_and_blanks_do_not_matter() -> None:
    """A name is known whatever its case and spacing."""
    assert label_faults(_label(("  COTTON ", "60"), ("PolyEster", "40")), EU) == ()
    assert fibre_named("Other   Fibres") is Fibre.OTHER


@pytest.mark.parametrize("name", ["bamboo", "microfibre", "", "x" * 5_000])
def test_unknown_name_refused(name: str) -> None:
    """A word that is no generic name, nor near one, is refused without a guess."""
    (fault,) = label_faults([(name, Decimal(100))], EU)
    assert fault.index == 0
    assert fault.suggestion is None
    assert "generic fibre" in fault.message
    assert len(fault.message) < 200


@pytest.mark.parametrize(
    ("written", "meant"), [("coton", "cotton"), ("polyestr", "polyester"), ("spandx", "elastane")]
)
def test_near_name_suggested(written: str, meant: str) -> None:
    """A misspelt name is refused with the name it is nearest to, in the regime's words."""
    (fault,) = label_faults([(written, Decimal(100))], EU)
    assert fault.suggestion == meant


def test_name_for_two_fibres() -> None:
    """Where a US name covers two EU names, both are offered."""
    (fault,) = label_faults(_label(("olefin", "100")), EU)
    assert fault.suggestion == "polypropylene or polyethylene"


def test_pure_beside_another_fibre() -> None:
    """'Pure' and 'all' are for one fibre alone (Regulation (EU) No 1007/2011, Article 7)."""
    assert label_faults(_label(("Pure cotton", "100")), EU) == ()
    (fault,) = label_faults(_label(("pure cotton", "60"), ("polyester", "40")), EU)
    assert "Article 7" in fault.article
    assert fault.suggestion == "cotton"


def test_same_fibre_twice() -> None:
    """Two names of one fibre are one entry (design choice, no source)."""
    (fault,) = label_faults(_label(("linen", "50"), ("flax", "50")), EU)
    assert fault.index == 1
    (fault, *_) = label_faults(_label(("rayon", "50"), ("rayon", "50")), US)
    assert "same fibre" in fault.message


@pytest.mark.parametrize("percent", ["NaN", "-Infinity", "0", "-5", "100.5", "1E+999999"])
def test_impossible_percentage(percent: str) -> None:
    """A percentage that cannot be one is named, and nothing else is built upon it."""
    (fault,) = label_faults(_label(("cotton", percent), ("wool", "50")), EU)
    assert fault.index == 0
    assert "more than 0 and no more than 100" in fault.message
    assert len(fault.message) < 200


def test_empty_label() -> None:
    """A label has to name a fibre."""
    (fault,) = label_faults([], EU)
    assert fault.index is None


@pytest.mark.parametrize(
    ("percents", "is_fault"),
    [
        (("33.3", "33.3", "33.3"), False),
        (("33.3", "33.3", "33.2"), True),
        (("34", "33", "33"), False),
        (("34", "33", "32"), True),
    ],
)
def test_rounding_of_the_sum(percents: tuple[str, ...], is_fault: bool) -> None:  # noqa: FBT001  # a row of the table
    """Whole numbers sum to 100 exactly, decimals to within 0.1 (design choice, no source)."""
    label = _label(*zip(("cotton", "wool", "silk"), percents, strict=True))
    assert bool(label_faults(label, EU)) is is_fault


@pytest.mark.parametrize(("regime", "other"), [(EU, "other fibres"), (US, "other fibers")])
def test_other_fibres_go_last(regime: LabelRegime, other: str) -> None:
    """'Other fibres' end the label, even if larger than the entry before (16 CFR 303.10)."""
    last = _label(("cotton", "80"), ("polyester", "8"), (other, "12"))
    assert label_faults(last, regime, several_others=True) == ()
    first = _label((other, "12"), ("cotton", "80"), ("polyester", "8"))
    (fault,) = label_faults(first, regime, several_others=True)
    assert fault.index == 0
    assert fault.suggestion == f"80 % cotton, 8 % polyester, 12 % {other}"


def test_us_fibre_of_five_percent_is_named() -> None:
    """From 5 % on a fibre is named (15 USC 70b(b); 16 CFR 303.16)."""
    label = _label(("cotton", "95"), ("other fiber", "5"))
    (fault,) = label_faults(label, US)
    assert "16 CFR 303.16" in fault.article
    assert label_faults(label, US, several_others=True) == ()


def test_us_small_fibres_share_one_entry() -> None:
    """All fibres below 5 % are summed up as other fibers (16 CFR 303.3)."""
    label = _label(("cotton", "92"), ("polyester", "4"), ("nylon", "4"))
    faults = label_faults(label, US)
    assert [fault.index for fault in faults] == [1, 2]
    assert {fault.suggestion for fault in faults} == {"8 % other fibers"}


def test_eu_small_fibre_may_be_named() -> None:
    """The 5 % rule is the United States' alone."""
    assert label_faults(_label(("cotton", "97"), ("elastane", "3")), EU) == ()


def test_several_faults_at_once() -> None:
    """Faults are collected, not reported one at a time."""
    faults = label_faults(_label(("spandex", "10"), ("cotton", "80"), ("woool", "5")), EU)
    assert [fault.index for fault in faults] == [0, 2, None, 1]


def test_carded_pure_label() -> None:
    """Carded products allow 5 % of foreign fibre (Regulation (EU) No 1007/2011, Article 7)."""
    assert pure_label_holds(Decimal(5), carded=True)
    assert not pure_label_holds(Decimal("5.1"), carded=True)


def test_unnamed_fibres_are_taken_together() -> None:
    """What the label does not name counts as its other fibres."""
    stated = FibreContent.of(cotton=90, **{"other fibres": 10})
    assert stated_matches_analysed(stated, FibreContent.of(cotton=88, wool=6, silk=6))
    assert not stated_matches_analysed(stated, FibreContent.of(cotton=86, wool=7, silk=7))
    blend = FibreContent.of(cotton=60, polyester=40)
    assert not stated_matches_analysed(blend, FibreContent.of(cotton=58, polyester=38, wool=4))


@given(st.lists(st.sampled_from(NAMED), unique=True, min_size=1, max_size=6), st.data())
def test_ordered_eu_labels_are_faultless(names: list[str], data: st.DataObject) -> None:
    """Any distinct EU names whose whole shares fall and sum to 100 make a label without faults."""
    cuts = sorted(
        data.draw(
            st.lists(
                st.integers(1, 99), unique=True, min_size=len(names) - 1, max_size=len(names) - 1
            )
        )
    )
    shares = [upper - lower for lower, upper in zip([0, *cuts], [*cuts, 100], strict=True)]
    label = [
        (name, Decimal(s)) for name, s in zip(names, sorted(shares, reverse=True), strict=True)
    ]
    assert label_faults(label, EU) == ()
    content = FibreContent.of(**dict(label))
    assert stated_matches_analysed(content, content)
