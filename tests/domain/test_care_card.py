"""The care card: every line has a stable id, and nothing is allowed that a part forbids."""

from __future__ import annotations

import string

import pytest

from service.domain.blanks import CareLabel
from service.domain.care import IRON_DOT_C
from service.domain.care_card import CARE_ENGLISH, CareCard, CareKind, care_card
from service.domain.chain import Chain
from tests.domain.garments_and_lines import demo_shop

CHAINS = demo_shop().chains
LABELS = [
    CareLabel(wash_c=wash_c, iron_dots=dots, tumble_dry=tumble)
    for wash_c in (30, 40, 60)
    for dots in range(4)
    for tumble in (True, False)
]


def card_of(own: CareLabel | None, *methods: str) -> CareCard:
    """The card of a garment decorated by those methods of the demo shop."""
    card = care_card(own, [CHAINS[method] for method in methods])
    assert card is not None
    return card


@pytest.mark.parametrize("method", CHAINS)
@pytest.mark.parametrize("own", [None, *LABELS])
def test_the_card_says_what_its_numbers_say(own: CareLabel | None, method: str) -> None:
    """One line a category, its values those of the card, its text the English of its message."""
    card = card_of(own, method)
    lines = {line.kind: line for line in card.lines}
    assert list(lines) == list(CareKind)
    for line in card.lines:
        assert line.english == CARE_ENGLISH[line.message].format(**line.values)
        assert line.message.startswith(f"care.{line.kind}.")
    assert lines[CareKind.WASH].values == {"wash_c": card.wash_c}
    assert (lines[CareKind.IRON].message == "care.iron.never") is (card.iron_dots == 0)
    assert card.iron_max_c == IRON_DOT_C.get(card.iron_dots)
    assert (lines[CareKind.DRY].message == "care.dry.never-tumble") is (card.tumble_dry is False)
    if own is not None:
        assert card.wash_c <= own.wash_c
        assert card.iron_dots <= own.iron_dots


def test_more_decorations_never_allow_more() -> None:
    """The card of two decorations is the least of the cards of each."""
    own = CareLabel(wash_c=60, iron_dots=3)
    for first in CHAINS:
        for second in CHAINS:
            both, one, other = (
                card_of(own, first, second),
                card_of(own, first),
                card_of(own, second),
            )
            assert both.wash_c == min(one.wash_c, other.wash_c)
            assert both.iron_dots == min(one.iron_dots, other.iron_dots)


def test_film_is_not_dry_cleaned_and_dye_leaves_the_label_in_force() -> None:
    """No dry cleaning of film (five trade guides); a dye print leaves the garment's label.

    Common practice, no source.
    """
    own = CareLabel(wash_c=40, iron_dots=2)
    assert card_of(own, "cut-film").dry_clean is False
    dyed = card_of(own, "dye-transfer")
    assert dyed.dry_clean is None
    assert (dyed.wash_c, dyed.iron_dots) == (40, 2)


def test_an_unknown_label_is_never_overruled() -> None:
    """Where nobody read the garment's label, every line that could exceed it says so."""
    card = card_of(None, "cut-film")
    said = {line.message for line in card.lines}
    assert {"care.wash.at-most-own-label", "care.iron.reverse-own-label"} <= said
    assert card.tumble_dry is None


def test_nothing_known_is_no_card() -> None:
    """Neither a label nor anything on the cloth: there is nothing to tell."""
    bare: list[Chain] = []
    assert care_card(None, bare) is None


def test_messages_take_whole_numbers_alone() -> None:
    """Every message's values are named, so that other languages may put them anywhere."""
    names = {
        name for text in CARE_ENGLISH.values() for _, name, _, _ in string.Formatter().parse(text)
    }
    assert names - {None} == {"wash_c", "iron_c", "iron_dots"}
