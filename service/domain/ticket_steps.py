"""What one step of a ticket is: where it is done, what is set, what the hands do, and why."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from enum import StrEnum
from types import MappingProxyType
from typing import Any

from pydantic import model_validator

from service.domain.media import Peel, Pressure
from service.domain.methods import Cover
from service.domain.values import Frozen


class StepKind(StrEnum):
    """What the hands do, in the order a garment usually meets it."""

    GATHER = "gather"
    PRINT = "print"
    DRY = "dry"
    CUT = "cut"
    WEED = "weed"
    LINT_ROLL = "lint_roll"
    PRE_PRESS = "pre_press"
    PLACE = "place"
    TACK = "tack"
    PEEL = "peel"
    PRESS = "press"
    CHECK = "check"
    FOLD = "fold"
    PACK = "pack"


def step_key(decoration: int, operation: int, kind: StepKind) -> str:
    """The key of a step of that operation of that decoration, both counted from 0."""
    return f"d{decoration + 1}-{operation + 1}-{kind.replace('_', '-')}"


MIRROR_WORDS: Mapping[bool, str] = MappingProxyType({True: "MIRRORED", False: "NOT MIRRORED"})
MIRROR_SIGNS: Mapping[bool, str] = MappingProxyType({True: "\u042f", False: "R"})
"""The letter R as it must lie on the medium: turned round, for which a Cyrillic letter stands, or
not. A renderer may draw it instead."""


def exact_fahrenheit(set_c: float) -> float:
    """Degrees Fahrenheit of a setting in degrees Celsius as it is written: F = C x 9/5 + 32."""
    return float(Decimal(str(set_c)) * 9 / 5 + 32)


class PressSettings(Frozen):
    """What to set on the press; temperatures are of the display, 0.1 degrees Celsius.

    ``set_f`` is the same setting in degrees Fahrenheit, unrounded.
    """

    set_c: float
    set_f: float
    dwell_s: float
    pressure: Pressure
    cover: Cover
    peel: Peel


class PrintSettings(Frozen):
    """What to set on the printer; the print is ``width_mm`` wide and ``height_mm`` high.

    ``test_stripe`` is what is printed and looked at before the run, empty where the shop says
    nothing of it.
    """

    colour_profile: str
    test_stripe: str
    width_mm: float
    height_mm: float


class CutSettings(Frozen):
    """What to set on the plotter; angle, force in grams and passes are None where not known.

    The artwork is ``width_mm`` wide and ``height_mm`` high, None on tickets from before that.
    ``face_down`` is True for a film cut from its adhesive side, with its face and carrier below.
    ``registration_marks`` is True where the medium was printed before, so that the cut must find
    the print.
    """

    face_down: bool
    registration_marks: bool
    blade_offset_mm: float
    blade_angle_deg: float | None = None
    force_gf: int | None = None
    passes: int | None = None
    width_mm: float | None = None
    height_mm: float | None = None


class PlaceSettings(Frozen):
    """How something is laid on the garment; the distances are in the decoration's drawing.

    ``over`` names the films that already lie there. What is ``taped`` must not be moved until the
    press is open and it has been taken off.
    """

    face_down: bool
    taped: bool
    over: tuple[str, ...] = ()


class TicketStep(Frozen):
    """One step.

    ``key`` stays the same for the ticket's life and names no other step of it. ``station`` and
    ``machine`` are ids of the catalogue, ``medium`` is a name. ``decoration`` counts the ticket's
    decorations from 0 and is None for what is done once for the garment. Settings are given for
    what is done with them: ``settings`` for strikes, the ``strike``-th of ``strikes`` on that
    decoration; ``mirrored`` for printing and cutting. ``dwell_s`` is what a timer counts down while
    the press is closed, ``wait_min`` what must pass before the next step.
    """

    number: int
    key: str = ""
    kind: StepKind
    station: str
    station_name: str = ""
    machine: str | None = None
    machine_name: str = ""
    medium: str | None = None
    medium_id: str | None = None
    film_colour: str = ""
    decoration: int | None = None
    placement: str = ""
    mirrored: bool | None = None
    printing: PrintSettings | None = None
    cutting: CutSettings | None = None
    placing: PlaceSettings | None = None
    settings: PressSettings | None = None
    strike: int | None = None
    strikes: int | None = None
    dwell_s: float | None = None
    peel: Peel | None = None
    wait_min: int = 0
    words: str
    why: str
    caution: str = ""

    @property
    def mirror_words(self) -> str:
        """MIRRORED or NOT MIRRORED; empty for what is neither printed nor cut."""
        return "" if self.mirrored is None else MIRROR_WORDS[self.mirrored]

    @property
    def mirror_sign(self) -> str:
        """The letter R as it must lie on the medium; empty for what is neither printed nor cut."""
        return "" if self.mirrored is None else MIRROR_SIGNS[self.mirrored]

    @model_validator(mode="before")
    @classmethod
    def _of_earlier_tickets(cls, given: Any) -> Any:  # noqa: ANN401 (anything may be given)
        """Give a step written before steps had keys and dwells both of them."""
        if not isinstance(given, dict) or given.get("key"):
            return given
        settings = given.get("settings")
        dwell_s = settings.get("dwell_s") if isinstance(settings, dict) else None
        return {"dwell_s": dwell_s, **given, "key": f"step-{given.get('number')}"}
