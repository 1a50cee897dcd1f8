"""The care card: what a customer is told to do with a decorated garment, line by line.

Every line has a stable message id and the values that go into it, so that a catalogue of messages
can say it in another language; the English stands beside. Lines go in the order of ISO 3758,
from memory: washing, bleaching, drying, ironing, professional care. What is asked of films and dye
prints beyond the merged label is common practice, no source; what is not known is told the careful
way.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from enum import StrEnum
from types import MappingProxyType

from pydantic import Field

from service.domain.blanks import CareLabel
from service.domain.care import IRON_DOT_C, MergedCare, cared_for, merged_care
from service.domain.chain import Chain
from service.domain.values import Frozen


class CareKind(StrEnum):
    """The categories of ISO 3758 in its order (from memory), after what is to be waited for."""

    WAIT = "wait"
    WASH = "wash"
    BLEACH = "bleach"
    DRY = "dry"
    IRON = "iron"
    PROFESSIONAL = "professional"


CARE_ENGLISH: Mapping[str, str] = MappingProxyType(
    {
        "care.wait.first-wash": "Wait 24 hours before the first wash.",
        "care.wash.at-most": "Wash inside out at {wash_c} °C at most, with a mild detergent.",
        "care.wash.at-most-own-label": (
            "Wash inside out at {wash_c} °C at most, with a mild detergent, and never hotter than "
            "the garment's own label says."
        ),
        "care.bleach.never": "Do not bleach.",
        "care.dry.tumble-low": "Tumble dry low, or dry on a line.",
        "care.dry.never-tumble": "Do not tumble dry. Dry on a line.",
        "care.dry.own-label": (
            "Dry on a line; tumble dry low only if the garment's own label allows it."
        ),
        "care.iron.never": "Do not iron.",
        "care.iron.reverse": (
            "Iron inside out at {iron_c} °C at most ({iron_dots} of 3 dots), never on the print."
        ),
        "care.iron.reverse-own-label": (
            "Iron inside out at {iron_c} °C at most ({iron_dots} of 3 dots), never on the print, "
            "and never hotter than the garment's own label says."
        ),
        "care.professional.never": "Do not dry clean.",
        "care.professional.own-label": "Dry clean only if the garment's own label allows it.",
    }
)
"""Every message of the card in English, by its id; values stand in braces."""


class CareLine(Frozen):
    """One line of the card: ``message`` is its id, ``english`` the text with ``values`` in it."""

    kind: CareKind
    message: str
    values: Mapping[str, int] = Field(default_factory=dict)
    english: str


class CareCard(Frozen):
    """The merged care of garment, films and dye, in numbers and in lines to print.

    ``wash_c`` is in °C. ``iron_dots`` is 0 for "do not iron", and ``iron_max_c`` then None.
    ``tumble_dry`` is None where the garment's own label is not known. ``dry_clean`` is False where
    a film forbids it and None where the garment's own label decides. ``wash_because`` and
    ``iron_because`` name what sets each: ``garment``, ``dye print``, or a film's name.
    """

    wash_c: int
    iron_dots: int
    iron_max_c: int | None
    tumble_dry: bool | None
    dry_clean: bool | None
    wash_because: str
    iron_because: str
    lines: tuple[CareLine, ...]

    def words(self) -> str:
        """All lines in English, one after another."""
        return " ".join(line.english for line in self.lines)


def care_card(own: CareLabel | None, chains: Sequence[Chain]) -> CareCard | None:
    """The card of a garment with that label, decorated by those chains.

    ``own`` is None for a garment whose label is not known. None when there is neither a label nor
    anything on the cloth to take care of.
    """
    media = list(dict.fromkeys(medium for chain in chains for medium in cared_for(chain)))
    if own is None and not media:
        return None
    care = merged_care(own, media)
    filmed = any(chain.layers for chain in chains)
    label_known = own is not None
    return CareCard(
        wash_c=care.wash_c,
        iron_dots=care.iron_dots,
        iron_max_c=IRON_DOT_C.get(care.iron_dots),
        tumble_dry=care.tumble_dry,
        dry_clean=False if filmed else None,
        wash_because=care.wash_because,
        iron_because=care.iron_because,
        lines=tuple(_lines(care, filmed=filmed, label_known=label_known)),
    )


def _lines(care: MergedCare, *, filmed: bool, label_known: bool) -> Iterator[CareLine]:
    unknown = "" if label_known else "-own-label"
    yield _line(CareKind.WAIT, "first-wash")
    yield _line(CareKind.WASH, f"at-most{unknown}", wash_c=care.wash_c)
    yield _line(CareKind.BLEACH, "never")
    tumble = {True: "tumble-low", False: "never-tumble", None: "own-label"}
    yield _line(CareKind.DRY, tumble[care.tumble_dry])
    if care.iron_dots:
        iron_c = IRON_DOT_C[care.iron_dots]
        told = {"iron_c": iron_c, "iron_dots": care.iron_dots}
        yield _line(CareKind.IRON, f"reverse{unknown}", **told)
    else:
        yield _line(CareKind.IRON, "never")
    yield _line(CareKind.PROFESSIONAL, "never" if filmed else "own-label")


def _line(kind: CareKind, what: str, **values: int) -> CareLine:
    message = f"care.{kind}.{what}"
    english = CARE_ENGLISH[message].format(**values)
    return CareLine(kind=kind, message=message, values=values, english=english)
