"""What staff are told of runs. Lengths are in mm, to the micrometre."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from service.domain.run_states import RunAct, RunState
from service.domain.ticket_states import TicketState
from service.domain.ticket_steps import PressSettings
from service.intake.answers import Answer, Moment


class RunSummary(Answer):
    """A run in a list.

    ``length_mm`` is what is cut off the roll or sheets, in ``parts`` pieces of it; no layout takes
    less than ``bound_mm``. ``saving_mm`` is how much more the tickets would take each laid out by
    itself in its boxes; ``by_envelopes`` says that pieces are nested closer than their boxes lie.
    ``print_mirrored`` and ``cut_mirrored`` are null for what is not done.
    """

    id: str
    number: str
    state: RunState
    medium: str
    medium_name: str
    colour: str
    print_mirrored: bool | None
    cut_mirrored: bool | None
    tickets: tuple[str, ...]
    pieces: int
    first_day: date
    last_day: date
    length_mm: float
    parts: int
    sheets: bool
    bound_mm: float
    by_envelopes: bool
    saving_mm: float
    saving_share: float
    created_at: Moment
    who: str


class RunPrintAnswer(Answer):
    """A ticket's decoration on the run: its pieces, and their places in the order, from 1.

    Pieces are numbered from ``first_piece``: more than 1 where they replace spoiled ones. ``state``
    is that of the ticket now.
    """

    ticket: str
    state: TicketState
    decoration: int
    placement: str
    promised_day: date
    artwork_id: str
    width_mm: float
    height_mm: float
    pieces: int
    first_piece: int
    first_place: int
    last_place: int


class RunPieceAnswer(Answer):
    """A piece as it lies on its part, counted from 1: its corner, and its sides as it lies.

    ``x_mm`` runs across and ``y_mm`` along the strip from the corner where it begins, as seen from
    the side that is worked on. A piece lies turned clockwise by ``turn_deg``; where its sides have
    changed places it is ``turned``. Boxes reach into each other where ``by_envelopes`` says so.
    """

    key: str
    ticket: str
    decoration: int
    piece: int
    part: int
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    turned: bool
    turn_deg: int


class RunActAnswer(Answer):
    """What someone did to a run; show the note as plain text."""

    act: RunAct
    who: str
    note: str
    at: Moment


class ReprintAnswer(Answer):
    """Pieces to be made anew; ``done_by`` is the number of the run that makes them."""

    ticket: str
    decoration: int
    pieces: int
    first_piece: int
    who: str
    note: str
    at: Moment
    done_by: str | None


class RunAnswer(RunSummary):
    """A run with its layout and its history. ``pieces_placed`` stand in the order of cutting.

    ``version`` is what its ETag holds and counts every act. ``recipe`` are the strikes on the
    medium, in their order. ``width_mm`` is that of the strip with both margins.
    """

    version: int
    legal_acts: tuple[RunAct, ...]
    recipe: tuple[PressSettings, ...]
    width_mm: float
    margin_mm: float
    gap_mm: float
    parts_mm: tuple[float, ...]
    alone_mm: float
    prints: tuple[RunPrintAnswer, ...]
    pieces_placed: tuple[RunPieceAnswer, ...]
    acts: tuple[RunActAnswer, ...]
    reprints: tuple[ReprintAnswer, ...]


class LeftOutAnswer(Answer):
    """What no run can take, and why; ``decoration`` is null for a whole ticket."""

    ticket: str
    decoration: int | None
    medium: str | None
    why: str


class ProposedAnswer(Answer):
    """The runs proposed, by the first day promised; each is shown in full at its own address.

    ``more_wait`` says that less urgent tickets were not looked at: accept some, then propose again.
    """

    runs: tuple[RunSummary, ...]
    left_out: tuple[LeftOutAnswer, ...]
    more_wait: bool


class RunPage(Answer):
    """Runs, the newest first; ``next`` is the address of the next page."""

    runs: tuple[RunSummary, ...]
    states: Mapping[RunState, int]
    next: str | None = None
