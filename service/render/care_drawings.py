"""Plain drawings of what is done to a garment, our own, in boxes of 24 by 24 units.

They follow the five categories of ISO 3758 (from memory) and are deliberately not its symbols,
which are trademarks: a bucket, a bottle, a washing line, a flat iron seen from above, a hanger. A
bar across says that it is not to be done. Paths hold M, L, C and Z steps.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from service.domain.care_card import CareKind

SIDE = 24.0
NEVER_BAR = ("M3,21 L21,3",)

CARE_DRAWINGS: Mapping[CareKind, tuple[str, ...]] = MappingProxyType(
    {
        # A sand glass.
        CareKind.WAIT: (
            "M6,3 L18,3",
            "M6,21 L18,21",
            "M7.5,3 C7.5,9 11,10 12,12 C13,10 16.5,9 16.5,3",
            "M7.5,21 C7.5,15 11,14 12,12 C13,14 16.5,15 16.5,21",
            "M9.5,18.5 L14.5,18.5",
        ),
        # A bucket with a handle and two bubbles.
        CareKind.WASH: (
            "M4.5,10 L19.5,10 L17.5,21.5 L6.5,21.5 Z",
            "M5,10 C6,2.5 18,2.5 19,10",
            "M9,15 C9,13 12,13 12,15 C12,17 9,17 9,15 Z",
            "M13,18 C13,16.8 15,16.8 15,18 C15,19.2 13,19.2 13,18 Z",
        ),
        # A bottle with a cap and a drop on it.
        CareKind.BLEACH: (
            "M10,2.5 L14,2.5 L14,5.5 L10,5.5 Z",
            "M10,5.5 C10,8.5 6.5,8.5 6.5,12 L6.5,21.5 L17.5,21.5 L17.5,12 C17.5,8.5 14,8.5 14,5.5",
            "M12,12 C10,15 9.8,16 9.8,16.8 C9.8,19.2 14.2,19.2 14.2,16.8 C14.2,16 14,15 12,12 Z",
        ),
        # A shirt on a line.
        CareKind.DRY: (
            "M2,5 C8,6.6 16,6.6 22,5",
            "M8.5,6.2 L4,10 L6.2,12.8 L8,11.6 L8,20.5 L16,20.5 L16,11.6 L17.8,12.8 L20,10 L15.5,6",
            "M8.5,6.2 C10,9.2 14,9.2 15.5,6.2",
        ),
        # The sole of an iron from above, with its handle.
        CareKind.IRON: (
            "M12,2 C16.5,6.5 18,12 18,21.5 L6,21.5 C6,12 7.5,6.5 12,2 Z",
            "M10.3,11 L13.7,11 L13.7,19 L10.3,19 Z",
        ),
        # A covered garment on a hanger.
        CareKind.PROFESSIONAL: (
            "M12,6.5 C12,4.8 14.2,5.2 14.2,3.6 C14.2,2 11.4,2 11.2,3.8",
            "M12,6.5 L20,11.5 L4,11.5 Z",
            "M5,11.5 L5,21.5 L19,21.5 L19,11.5",
            "M12,14 L12,21.5",
        ),
    }
)


def care_drawing(kind: CareKind, message: str) -> tuple[str, ...]:
    """The paths for a line of the card, with a bar where its message says never to do it."""
    barred = message.endswith(".never")
    return (*CARE_DRAWINGS[kind], *NEVER_BAR) if barred else CARE_DRAWINGS[kind]
