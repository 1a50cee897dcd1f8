"""Fibre labels against the regulations of the European Union and the United States."""

from __future__ import annotations

from decimal import Decimal

import pytest

from service.domain.fibre_labels import (
    label_faults,
    pure_label_holds,
    stated_matches_analysed,
)
from service.domain.fibres import Fibre, FibreContent
from service.domain.shop import LabelRegime

EU = LabelRegime.EU
US = LabelRegime.US


def _label(*shares: tuple[str, int]) -> list[tuple[str, Decimal]]:
    return [(name, Decimal(percent)) for name, percent in shares]


def test_mass_shares_to_volume() -> None:
    """Half polyester and half cotton by mass is 0.526 polyester by volume.

    Source: arithmetic, v = (m1/d1) / (m1/d1 + m2/d2), with densities of 1.38 and 1.53 g/cm3 within
    0.02 of National Academies, Carbon Management (2001), Table 11.1.
    """
    content = FibreContent.of(polyester=50, cotton=50)
    assert content.volume_share(Fibre.POLYESTER) == pytest.approx(0.526, abs=0.001)


def test_descending_label() -> None:
    """80 % cotton, 20 % polyester is in order (Regulation (EU) No 1007/2011, Article 9)."""
    assert label_faults(_label(("cotton", 80), ("polyester", 20)), EU) == ()


def test_ascending_label() -> None:
    """20 % polyester, 80 % cotton is out of order (id., Article 9(1)); the right order is given."""
    (fault,) = label_faults(_label(("polyester", 20), ("cotton", 80)), EU)
    assert "Article 9(1)" in fault.article
    assert fault.index == 1
    assert fault.suggestion == "80 % cotton, 20 % polyester"


def test_sum() -> None:
    """60 and 39 do not make 100 (design choice, no source)."""
    (fault,) = label_faults(_label(("cotton", 60), ("polyester", 39)), EU)
    assert fault.index is None
    assert "99" in fault.message


def test_one_other_fibre_at_the_limit() -> None:
    """One fibre of 5 % may go unnamed (id., Article 9(2))."""
    assert label_faults(_label(("cotton", 95), ("other fibres", 5)), EU) == ()


def test_one_other_fibre_above_the_limit() -> None:
    """One fibre of 6 % may not, and several together may up to 15 % (id., Article 9(2))."""
    label = _label(("cotton", 94), ("other fibres", 6))
    (fault,) = label_faults(label, EU)
    assert "Article 9(2)" in fault.article
    assert "5 %" in fault.message
    assert label_faults(label, EU, several_others=True) == ()
    at_limit = _label(("cotton", 85), ("other fibres", 15))
    assert label_faults(at_limit, EU, several_others=True) == ()
    above = _label(("cotton", 84), ("other fibres", 16))
    assert len(label_faults(above, EU, several_others=True)) == 1


def test_small_fibre_with_a_function() -> None:
    """96 % acetate, 4 % spandex names a functional fibre below 5 % (16 CFR 303.3, its example)."""
    label = _label(("acetate", 96), ("spandex", 4))
    assert label_faults(label, US, functional=["spandex"]) == ()


def test_small_fibre_without_a_function() -> None:
    """97 % cotton, 3 % polyester has to say 3 % other fiber (16 CFR 303.3)."""
    (fault,) = label_faults(_label(("cotton", 97), ("polyester", 3)), US)
    assert fault.article == "16 CFR 303.3"
    assert fault.suggestion == "3 % other fiber"
    assert label_faults(_label(("cotton", 97), ("other fiber", 3)), US) == ()


@pytest.mark.parametrize(
    ("found", "matches"), [(("62", "38"), True), (("61.9", "38.1"), False), (("68", "32"), True)]
)
def test_tolerance_of_analysis(found: tuple[str, str], matches: bool) -> None:  # noqa: FBT001  # a row of the table
    """65/35 allows 3 points either way and no more (id., Article 20(3); 16 CFR 303.43)."""
    stated = FibreContent.of(polyester=65, cotton=35)
    analysed = FibreContent.of(polyester=found[0], cotton=found[1])
    assert stated_matches_analysed(stated, analysed) is matches


@pytest.mark.parametrize(("foreign", "holds"), [("2.0", True), ("2.1", False)])
def test_pure_label(foreign: str, holds: bool) -> None:  # noqa: FBT001  # a row of the table
    """100 % cotton allows 2 % of unavoidable foreign fibre (id., Article 7)."""
    assert pure_label_holds(Decimal(foreign)) is holds
    stated = FibreContent.of(cotton=100)
    analysed = FibreContent.of(cotton=100 - Decimal(foreign), viscose=foreign)
    assert stated_matches_analysed(stated, analysed) is holds


def test_us_name_on_eu_label() -> None:
    """Spandex is no name of Annex I; elastane is (id., Article 5 and Annex I)."""
    (fault,) = label_faults(_label(("cotton", 95), ("Spandex", 5)), EU)
    assert "Annex I" in fault.article
    assert fault.index == 1
    assert fault.suggestion == "elastane"


# Source: Regulation (EU) No 1007/2011, Annex I, against 16 CFR 303.7.
@pytest.mark.parametrize(
    ("eu_name", "us_name"),
    [
        ("elastane", "spandex"),
        ("viscose", "rayon"),
        ("modal", "rayon (modal)"),
        ("cupro", "rayon (cupro)"),
        ("polypropylene", "olefin"),
        ("polylactide", "PLA"),
        ("chlorofibre", "vinyon"),
    ],
)
def test_names_by_regime(eu_name: str, us_name: str) -> None:
    """Each regime takes its own name, and gives it for the other's."""
    whole = Decimal(100)
    assert label_faults([(eu_name, whole)], EU) == ()
    assert label_faults([(us_name, whole)], US) == ()
    (eu_fault,) = label_faults([(us_name, whole)], EU)
    (us_fault,) = label_faults([(eu_name, whole)], US)
    assert eu_name in (eu_fault.suggestion or "")
    assert us_name == us_fault.suggestion


@pytest.mark.parametrize(
    "name",
    [
        "cotton",
        "linen",
        "flax",
        "hemp",
        "ramie",
        "jute",
        "wool",
        "silk",
        "lyocell",
        "acetate",
        "triacetate",
        "polyester",
        "nylon",
        "acrylic",
        "modacrylic",
        "elastomultiester",
    ],
)
def test_names_common_to_both(name: str) -> None:
    """Names that both lists hold are taken in both (Annex I; 16 CFR 303.7)."""
    assert label_faults([(name, Decimal(100))], EU) == ()
    assert label_faults([(name, Decimal(100))], US) == ()


def test_polyamide_in_the_us() -> None:
    """Polyamide is an EU name; US labels say nylon (Annex I; 16 CFR 303.7)."""
    assert label_faults([("polyamide", Decimal(100))], EU) == ()
    (fault,) = label_faults([("polyamide", Decimal(100))], US)
    assert fault.suggestion == "nylon"
