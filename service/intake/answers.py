"""What callers are told, as typed documents. Money is in integer minor units with its currency."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, PlainSerializer

from service.domain.artwork import InkShares, PrintMeasures, ShapeMeasures
from service.domain.canonical import rfc3339
from service.domain.look import LookBand
from service.domain.media import Ink, Peel, Pressure
from service.domain.methods import Cover, OperationKind
from service.domain.pieces import PieceEventKind, SpoilReason
from service.domain.remarks import FilmWidth, Remark
from service.domain.rules import Severity
from service.domain.ticket import TicketDocument
from service.domain.ticket_states import Move, OrderState, TicketState
from service.domain.wishes import Choice, Consent

Moment = Annotated[datetime, PlainSerializer(rfc3339, return_type=str)]


class Answer(BaseModel):
    """Base of answers: immutable and exactly what is declared.

    Members of enumerations are kept as their values, which are written twice as fast.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", use_enum_values=True)


def _is_empty(told: str) -> bool:
    return not told


class MoneyAnswer(Answer):
    """An amount in integer minor units of an ISO 4217 currency."""

    amount: int
    currency: str


class FindingAnswer(Answer):
    """What a rule says. Its page is ``/rules/{rule}``."""

    rule: str
    severity: Severity
    reason: str
    measured: float | str
    limit: float | str
    unit: str
    source: str
    step: int | None = None
    size: str | None = None


class StrikeAnswer(Answer):
    """The press setting of one strike and the range it may be set in; degrees C and F."""

    step: int
    medium: str | None
    set_c: float | None
    set_f: float | None
    min_c: float
    max_c: float
    dwell_s: float
    pressure: Pressure
    peel: Peel


class ColourAnswer(Answer):
    """One colour of the artwork as wanted and as predicted, with the ends of the doubt.

    Colours are sRGB, differences CIEDE2000.
    """

    wanted: str
    predicted: str
    lightest: str
    darkest: str
    share: float
    delta_e: float


class LookAnswer(Answer):
    """How it will look: a prediction with a doubt, and no promise.

    ``mean_delta_e`` and ``p95_delta_e`` are CIEDE2000 over the palette by share, ``worst`` is the
    place in ``colours`` of the one farthest off, ``contrast_lightness`` is the difference in L*
    between print and cloth, ``doubt_delta_e`` lies between the ends of the widest doubt.
    """

    band: LookBand
    mean_delta_e: float
    p95_delta_e: float
    worst: int
    contrast_lightness: float
    doubt_delta_e: float
    colours: tuple[ColourAnswer, ...]


class TradeOffAnswer(Answer):
    """What speaks for or against one way of making beside the others that work."""

    id: str
    words: str


class MethodAnswer(Answer):
    """One method's verdict on a decoration.

    ``not_concerned`` is filled where all is explained: rules that had nothing to look at, such as
    those on dye for a method without it.
    """

    method: str
    name: str
    works: bool
    feel: str
    film_colours: Mapping[str, str]
    look: LookAnswer
    findings: tuple[FindingAnswer, ...]
    not_concerned: tuple[str, ...] = ()
    strikes: tuple[StrikeAnswer, ...]


class OperationAnswer(Answer):
    """One operation of the chosen method with its settings, degrees C and F.

    ``mirrored`` is None where nothing is printed or cut; temperature, dwell, pressure and cover
    are None where the press does not close.
    """

    step: int
    kind: OperationKind
    station: str
    machine: str | None
    medium: str | None
    mirrored: bool | None
    cover: Cover | None
    set_c: float | None
    set_f: float | None
    dwell_s: float | None
    pressure: Pressure | None
    peel: Peel | None
    wait_min: int


class ConflictAnswer(Answer):
    """Choices that cannot all hold, and the rules that between them forbid it."""

    choices: tuple[Choice, ...]
    rules: tuple[str, ...]
    because: str


class AlternativeAnswer(Answer):
    """Something near that works: what changes, to what, and what to expect."""

    changes: tuple[Choice, ...]
    method: str
    film_colour: str | None
    blank: str | None
    colour: str | None
    placement: str
    width_mm: float
    sizes: Mapping[str, int]
    consents: tuple[Consent, ...]
    mean_delta_e: float
    because: str
    findings: tuple[FindingAnswer, ...]


class DecorationAnswer(Answer):
    """The verdict on one decoration; ``method`` is the one chosen, None if none works.

    Candidates that work come first, best first; ``trade_offs`` says by method what speaks for each.
    ``recipe`` is every operation of the chosen method on this garment. ``conflicts`` are all the
    smallest sets of your choices that cannot all hold, ``repairs`` all the smallest sets of which a
    change is enough, ``alternatives`` the nearest that work. ``nothing_works`` says that the shop
    has no way to make this artwork, and ``ruled_out_by`` which rules between them leave none.
    ``not_searched``, told only of a refusal that no ways out were looked for, says so and what to
    do.
    """

    placement: str
    works: bool
    method: str | None
    candidates: tuple[MethodAnswer, ...]
    trade_offs: Mapping[str, tuple[TradeOffAnswer, ...]] = Field(default_factory=dict)
    recipe: tuple[OperationAnswer, ...] = ()
    conflicts: tuple[ConflictAnswer, ...] = ()
    repairs: tuple[tuple[Choice, ...], ...] = ()
    alternatives: tuple[AlternativeAnswer, ...] = ()
    nothing_works: bool = False
    ruled_out_by: tuple[str, ...] = ()
    not_searched: Annotated[str, Field(exclude_if=_is_empty)] = ""


class LineAnswer(Answer):
    """The verdict on one line. ``risk`` states what is at stake with a garment of your own."""

    works: bool
    garment: str
    colour: str
    decorations: tuple[DecorationAnswer, ...]
    risk: str = ""


class CheckAnswer(Answer):
    """The verdict on all lines, by one catalogue version."""

    works: bool
    catalogue_version: str
    lines: tuple[LineAnswer, ...]


class InkAtWidthAnswer(Answer):
    """Ink in ml that one print takes on one of the shop's printers.

    ``ml`` counts each colour by the ink it needs, None where that was not measured. ``most_ml``
    counts all that shows in full, white too. A price counts ``ml`` where there is one.
    """

    printer: str
    ink: Ink
    ml: float | None
    most_ml: float


class AtWidthAnswer(Answer):
    """What follows for one print at the width asked for; the picture is not read again.

    ``weed_min`` in ``measures`` is an estimate; what share of it is planned and priced is the
    method's.
    """

    measures: PrintMeasures
    ink: tuple[InkAtWidthAnswer, ...]


class ArtworkAnswer(Answer):
    """An artwork and what was measured of it; lengths in pixels, shares from 0 to 1.

    The lengths in ``shapes`` are shares of the ink box's width. ``edge_width_px`` is the width of
    the steepest edges, None where there are too few. ``shapes``, ``photo_like`` and ``ink`` are
    None for a picture measured before these were: upload it again. ``films`` says from what print
    width on each film the shop cuts can be made of it, ``preflight`` what to know before it is
    made, at the width asked for if there is one, which ``at_width`` tells of.
    """

    id: str
    media_type: str
    byte_size: int
    rights_declared: bool
    width_px: int
    height_px: int
    ink_box_px: tuple[int, int, int, int] = Field(description="left, top, width, height")
    has_alpha: bool
    opaque_share: float
    soft_alpha_share: float
    near_white_share: float
    shapes: ShapeMeasures | None
    photo_like: bool | None
    background_srgb: str | None
    edge_width_px: float | None = None
    ink: InkShares | None = None
    palette: tuple[Mapping[str, float | str], ...]
    created_at: Moment
    films: tuple[FilmWidth, ...] = ()
    preflight: tuple[Remark, ...] = ()
    at_width: AtWidthAnswer | None = None


class OrderTicketAnswer(Answer):
    """A ticket of an order, as its storefront sees it."""

    number: str
    line: int
    state: TicketState
    pieces: int


class OrderAnswer(Answer):
    """An accepted order.

    ``expected_day`` is the day it is done as things stand, or was done; None for an order of which
    that is not kept. It may pass the promised day, of which ``order.late`` tells.
    """

    id: str
    quote_id: str
    reference: str
    state: OrderState
    total: MoneyAnswer
    promised_day: date
    expected_day: date | None
    placed_at: Moment
    tickets: tuple[OrderTicketAnswer, ...]


class TicketMoveAnswer(Answer):
    """One move in a ticket's history."""

    move: Move
    from_state: TicketState
    to_state: TicketState
    who: str
    note: str
    at: Moment


class TicketHead(Answer):
    """What a ticket and its row in a list have in common.

    ``station`` is that of the next step not yet ticked, empty when all are. ``remake_of`` is the
    ticket whose pieces this one makes anew, None for an order's own.
    """

    number: str
    order_id: str
    line: int
    state: TicketState
    station: str
    promised_day: date
    created_at: Moment
    remake_of: str | None


class TicketSummary(TicketHead):
    """A ticket in a list; ``pieces`` are the good ones wanted, over all sizes.

    ``garment`` and ``colour`` are the names of the blank to fetch. ``latest_start`` is when what is
    left of it must begin to be done in time, and ``slack_min`` the working minutes until then,
    below 0 once that is past; None for what is sent or cancelled.
    """

    pieces: int
    garment: str
    colour: str
    latest_start: Moment | None
    slack_min: int | None


class PieceCountAnswer(Answer):
    """Pieces of one size.

    ``started`` are the blanks taken, spares among them, ``moved`` those that another ticket makes
    anew, ``remaining`` the good ones still to come from this ticket, ``to_remake`` those of them
    for which no blank is left. ``spoiled`` is the sum of ``spoiled_by_reason``.
    """

    wanted: int
    started: int
    good: int
    spoiled: int
    spoiled_by_reason: Mapping[SpoilReason, int]
    moved: int
    remaining: int
    to_remake: int


class PieceEntryAnswer(Answer):
    """One entry in a ticket's count of pieces; ``undoes`` is what an entry took back."""

    kind: PieceEventKind
    size: str
    count: int
    reason: SpoilReason | None
    undoes: PieceEventKind | None
    note: str
    who: str
    at: Moment


class TickAnswer(Answer):
    """Who ticked a step off, and when."""

    who: str
    at: Moment


class TickEntryAnswer(Answer):
    """One tick of the step of that key, or with ``done`` false its taking back."""

    step_key: str
    done: bool
    who: str
    at: Moment


class TicketNoteAnswer(Answer):
    """What someone wrote on a ticket, as it was written: show it as plain text."""

    text: str
    who: str
    at: Moment


class RunPlaceAnswer(Answer):
    """Where a decoration's pieces for one medium lie: on which run, and where in its cut order.

    Places count from 1; pieces of other tickets may lie between the first and the last. They are
    numbered from ``first_piece``: more than 1 where they replace spoiled ones.
    """

    run_id: str
    run: str
    decoration: int
    medium: str
    pieces: int
    first_piece: int
    first_place: int
    last_place: int


class TicketAnswer(TicketHead):
    """A ticket with its work and its history.

    ``version`` is what its ETag holds and counts every act. ``pieces`` is by size. ``ticks`` are
    those that stand, by the key of the step, and ``tick_entries`` all that were made and taken
    back, in their order. ``remakes`` are the tickets that make pieces of this one anew, ``runs``
    the accepted runs on which its pieces lie.
    """

    version: int
    legal_moves: tuple[Move, ...]
    pieces: Mapping[str, PieceCountAnswer]
    entries: tuple[PieceEntryAnswer, ...]
    ticks: Mapping[str, TickAnswer]
    tick_entries: tuple[TickEntryAnswer, ...]
    notes: tuple[TicketNoteAnswer, ...]
    remakes: tuple[str, ...]
    runs: tuple[RunPlaceAnswer, ...]
    document: TicketDocument
    moves: tuple[TicketMoveAnswer, ...]


class RemakeAnswer(Answer):
    """The ticket that makes pieces anew, and what it does to the promise.

    ``done_day`` is when it can be done, in the shop's time zone, ``promised_day`` what the order
    was promised, ``late`` whether the order is now expected after that; ``reason`` says what
    decides the day.
    """

    ticket: TicketAnswer
    done_day: date
    promised_day: date
    late: bool
    reason: str


class TicketPage(Answer):
    """A page of tickets; ``next`` is the address of the next one, None on the last.

    ``stations`` counts, over all pages and stations, the tickets of the asked states by the station
    they wait at.
    """

    tickets: tuple[TicketSummary, ...]
    stations: Mapping[str, int]
    next: str | None = None
