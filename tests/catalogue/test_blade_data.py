"""Blade and test stripe in a catalogue: optional, and never more than the plotter can give."""

from __future__ import annotations

from pathlib import Path

import pytest

from service.catalogue.loading import demo_shop_path, load_catalogue
from service.domain.methods import OperationKind
from tests.catalogue.workroom import edited, faults_of, line_of

BLADE = (
    "    price_per_m: 9.40\n",
    "    price_per_m: 9.40\n    blade: {angle_deg: 45, force_gf: %s}\n",
)
WEAK = ("    blade_offset_mm: 0.25\n", "    blade_offset_mm: 0.25\n    max_force_gf: 400\n")


def with_force(force: str) -> str:
    """The workroom with a plotter of 400 g and a film that asks for that force."""
    return edited((BLADE[0], BLADE[1] % force), WEAK)


def test_a_film_never_asks_for_more_force_than_the_plotter_has(tmp_path: Path) -> None:
    """The fault stands at the machine of the cutting operation, and names both forces."""
    text = with_force("401")
    (fault,) = faults_of(tmp_path, text)
    assert fault.pointer.endswith("/machine")
    assert fault.line == line_of(text, "machine: plotter")
    assert "a force of 401 g, and 'plotter' gives up to 400 g" in fault.message


@pytest.mark.parametrize("force", ["0", "-5", "2001", "90.5"])
def test_a_force_is_a_whole_number_of_grams_within_reason(force: str, tmp_path: Path) -> None:
    """What no plotter gives is a slip of the pen, told at its line."""
    text = with_force(force)
    (fault,) = faults_of(tmp_path, text)
    assert fault.pointer.startswith("/media/0/blade")
    assert fault.line == line_of(text, "    blade: {")


def test_every_medium_that_the_demo_shop_cuts_has_its_blade() -> None:
    """So that no ticket of it leaves the blade open; every printer has a test stripe."""
    shop = load_catalogue(demo_shop_path()).catalogue
    cut = {
        operation.medium or ""
        for method in shop.methods
        for operation in method.operations
        if operation.kind is OperationKind.CUT
    }
    assert cut
    assert all(shop.medium_by_id[id_].blade is not None for id_ in cut)
    assert all(printer.test_stripe for printer in shop.printers)
