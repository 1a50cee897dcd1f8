"""Contradictions between a catalogue's parts, each refused at load with line and pointer."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest
from babel import Locale
from babel.numbers import get_territory_currencies

from service.catalogue.blank_checks import gtin_check_digit
from service.catalogue.cross_checks import catalogue_faults, currencies_in_use
from service.catalogue.loading import demo_shop_path, load_catalogue
from tests.catalogue.contradictions import IN_PARTS, solids
from tests.catalogue.method_contradictions import (
    CARRIES,
    DYE_ON_FILM,
    IN_METHODS,
    TOP_FILM,
    TWO_FILMS,
)
from tests.catalogue.workroom import WORKROOM, edited, faults_of, line_of

CONTRADICTIONS = {**IN_PARTS, **IN_METHODS}


def closed_mondays() -> str:
    """All Mondays from 12 January 2026 to 4 January 2027, as a YAML list."""
    return str([str(date(2026, 1, 12) + timedelta(weeks=week)) for week in range(52)])


@pytest.mark.parametrize("name", CONTRADICTIONS)
def test_each_contradiction_is_told_where_it_stands(name: str, tmp_path: Path) -> None:
    """One contradiction in a sound catalogue gives its message with the right line and pointer."""
    edits, snippet, pointer, words = CONTRADICTIONS[name]
    text = edited(*edits).replace("CLOSED", closed_mondays())
    faults = faults_of(tmp_path, text)
    met = [fault for fault in faults if fault.pointer == pointer and words in fault.message]
    assert [fault.line for fault in met] == [line_of(text, snippet)], faults


def test_later_heat_above_what_a_film_withstands_is_refused(tmp_path: Path) -> None:
    """Dye pressed at 184 C or more onto a film that withstands 170 C can never be done."""
    text = edited(DYE_ON_FILM)
    (fault,) = faults_of(tmp_path, text)
    assert fault.pointer == "/methods/1/operations/3"
    assert "184 C at least, and film 'film' on the cloth allows 166 C" in fault.message


def test_all_contradictions_are_told_at_once(tmp_path: Path) -> None:
    """Faults in the price book, a blank, a machine and two methods come in one list, by line."""
    names = [
        "money no longer in use",
        "ink without a price",
        "area wider than the half chest",
        "operation at no station",
        "printed but not pressed",
    ]
    text = edited(*(edit for name in names for edit in CONTRADICTIONS[name][0]))
    faults = faults_of(tmp_path, text)
    assert [fault.pointer for fault in faults] == [CONTRADICTIONS[name][2] for name in names]
    assert [fault.line for fault in faults] == sorted(fault.line or 0 for fault in faults)


def test_a_method_is_not_walked_while_its_operations_are_at_fault(tmp_path: Path) -> None:
    """One fault of a step is told alone, without what would only follow from it."""
    text = edited(("mirrored: true", "mirrored: false"), ("machine: plotter", "machine: scissors"))
    (fault,) = faults_of(tmp_path, text)
    assert "'scissors'" in fault.message


def test_sound_catalogues_have_no_fault(tmp_path: Path) -> None:
    """The workroom of these tests and the demonstration shop hold no contradiction."""
    assert faults_of(tmp_path, WORKROOM) == ()
    assert catalogue_faults(load_catalogue(demo_shop_path()).catalogue, date(2026, 3, 2)) == []


@pytest.mark.parametrize(
    "edits",
    [
        [CARRIES, TWO_FILMS, ("station: bench, medium: film, setup_min: 0, each_min: 0", TOP_FILM)],
        [("withstands_c: 170", "withstands_c: 210\n    dye_share: 0.5"), DYE_ON_FILM],
        [("ink_ml_m2: 14", f"ink_ml_m2: 14\n    solids: {solids()}")],
        [('srgb: "#f7f7f5"\n', 'srgb: "#f7f7f5"\n        unobtainable_sizes: [S, M]\n')],
        [("gap_mm: 4", "gap_mm: 4\n    unobtainable: true\n    veil: 0.5")],
        [("fibre: cotton", "fibre: polypropylene")],
    ],
    ids=["layered", "dye on film", "solids", "colour sold out", "film sold out", "two iron dots"],
)
def test_what_only_looks_like_a_contradiction_is_taken(
    edits: list[tuple[str, str]], tmp_path: Path
) -> None:
    """Film on film that carries it, dye on film that holds it, and things that are sold out."""
    assert faults_of(tmp_path, edited(*edits)) == ()


def test_a_year_all_but_a_day_may_be_closed(tmp_path: Path) -> None:
    """Closures that leave 364 days without work or fewer are the shop's own affair."""
    mondays = closed_mondays().replace("'2027-01-04'", "'2027-01-05'")
    text = edited(("[0, 1, 2, 3, 4]", "[0]"), ("[2026-12-24, 2026-12-31]", mondays))
    assert faults_of(tmp_path, text) == ()


@pytest.mark.parametrize(
    "gtin",
    [
        # Numbers that explanations of GTINs use; from memory.
        "6291041500213",
        "96385074",
        "614141000036",
        "10614141543219",
        # Worked by hand: weights 1 3 1 3 ... on 952123454321 give 77, and 3 makes it 80.
        "9521234543213",
    ],
)
def test_check_digits_follow_modulo_ten(gtin: str) -> None:
    """The last digit makes the weighted sum a multiple of ten."""
    assert gtin_check_digit(gtin[:-1]) == gtin[-1]


def test_any_single_wrong_digit_is_found() -> None:
    """Weights 3 and 1 are both prime to ten, so one wrong digit always shows."""
    right = "6291041500213"
    wrong = [
        right[:place] + digit + right[place + 1 :]
        for place in range(len(right))
        for digit in "0123456789"
        if digit != right[place]
    ]
    assert not [gtin for gtin in wrong if gtin_check_digit(gtin[:-1]) == gtin[-1]]


def test_currencies_in_use_are_those_of_babel() -> None:
    """Money of the present is accepted, money of the past and precious metal is not."""
    known = currencies_in_use()
    for territory in ("DE", "US", "GB", "JP", "KW", "CH"):
        assert set(get_territory_currencies(territory)) <= known
    assert known.isdisjoint({"DEM", "FRF", "XAU", "XXX", "XTS"})
    assert known <= set(Locale("en").currencies)
