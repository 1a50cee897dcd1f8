"""Runs proposed: waiting prints that go together, cut into runs by day and length, and nested.

Prints go together on one medium in one colour, mirrored alike and pressed with the same settings
on that medium. Of each such group the most urgent come first, and a run takes as many of them, in
that order, as its days and its length allow: no print ever gives way to one promised later. What
takes more roll together than each by itself is kept apart. Where boxes waste much of a roll that a
plotter cuts, the pieces are nested by their envelopes instead, if that is shorter.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from service.domain.calendar import add_working_days
from service.domain.cut_order import cut_order
from service.domain.nesting.climbing import RUN, Effort
from service.domain.nesting.outlines import Ring
from service.domain.roll import misfit
from service.domain.run_document import RunDocument, RunPiece, RunPrint
from service.domain.run_laying import (
    MOST_BY_ENVELOPES,
    Laid,
    alone_um,
    count_of,
    keys_of,
    lay_alone,
    lay_together,
    least_um,
    with_envelopes,
    worth_envelopes,
)
from service.domain.shop import Policy, WorkCalendar
from service.domain.waiting_prints import OnStrip, WaitingPrint

_UM_PER_MM = 1_000
_TRIED = Effort(3_000)
"""For seeing whether one more print still fits a run."""

ALL_RUNS = Effort(600_000)
"""For all runs of one proposal together, some seconds; none gets more than ``RUN``."""

FOR_EACH_PIECE = 2_000
"""And no more than so much for each of its pieces: few of them are soon laid in every way."""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A print that no run can take, and why. ``decoration`` and ``medium`` are None for all."""

    ticket: str
    decoration: int | None
    medium: str | None
    why: str


@dataclass(frozen=True, slots=True)
class Proposed:
    """Runs by the first day promised, and what no run can take."""

    runs: tuple[RunDocument, ...]
    left_out: tuple[LeftOut, ...]


def propose_runs(
    waiting: Iterable[OnStrip], policy: Policy, calendar: WorkCalendar, effort: Effort = ALL_RUNS
) -> Proposed:
    """Runs that between them hold every piece once, but for what has no room on its strip.

    The order in which the prints are given changes nothing. Takes up to seconds.
    """
    fitting: list[OnStrip] = []
    left_out: list[LeftOut] = []
    for one in sorted(waiting, key=lambda one: (one.print.urgency, one.print.medium)):
        fault = _misfit(one)
        if fault is None:
            fitting.append(one)
        else:
            left_out.append(fault)
    together = [gang for group in _alike(fitting) for gang in _gangs(group, policy, calendar)]
    share = effort.pieces_laid // max(1, sum(gang.laid is not None for gang in together))
    each = Effort(max(_TRIED.pieces_laid, min(RUN.pieces_laid, share)))
    tried = _tried_by_envelopes(together)
    runs = [
        run
        for number, gang in enumerate(together)
        for run in _runs(gang, _limit_um(policy), each, by_envelopes=number in tried)
    ]
    runs.sort(key=lambda run: (run.days[0], run.prints[0].ticket, run.medium, run.colour))
    return Proposed(tuple(runs), tuple(left_out))


def _misfit(one: OnStrip) -> LeftOut | None:
    wanted = one.print
    fault = misfit(one.strip, wanted.width_um / _UM_PER_MM, wanted.height_um / _UM_PER_MM)
    if fault is None:
        return None
    return LeftOut(wanted.ticket, wanted.decoration, wanted.medium, f"{fault}.")


def _limit_um(policy: Policy) -> int:
    return round(policy.run_length_mm * _UM_PER_MM)


def _alike(ordered: Sequence[OnStrip]) -> Iterator[list[OnStrip]]:
    """The prints that may share a run, group by group, each in the order given."""
    groups: dict[object, list[OnStrip]] = {}
    for one in ordered:
        wanted = one.print
        sides = wanted.print_mirrored, wanted.cut_mirrored
        key = one.strip, wanted.film_colour, sides, wanted.recipe
        groups.setdefault(key, []).append(one)
    return iter(groups.values())


@dataclass(frozen=True, slots=True)
class _Gang:
    """Prints for one run, and how they were first found to lie; one print lies by itself."""

    prints: Sequence[OnStrip]
    laid: Laid | None


def _gangs(group: Sequence[OnStrip], policy: Policy, calendar: WorkCalendar) -> Iterator[_Gang]:
    """The group cut into runs, each as long as days and length allow."""
    start = 0
    while start < len(group):
        first_day = group[start].print.promised_day
        last_day = add_working_days(calendar, first_day, policy.run_window_days)
        until = start + 1
        while until < len(group) and group[until].print.promised_day <= last_day:
            until += 1
        gang = _longest(group[start:until], _limit_um(policy))
        yield gang
        start += len(gang.prints)


def _longest(prints: Sequence[OnStrip], limit_um: int) -> _Gang:
    """The most of the first prints that fit on the length together; at least one."""
    fits, fails = _Gang(prints[:1], None), len(prints) + 1
    while fails - len(fits.prints) > 1:
        middle = (len(fits.prints) + fails) // 2
        tried = prints[:middle]
        laid = None if least_um(tried) > limit_um else lay_together(tried, _TRIED)
        if laid is not None and laid.length_um <= limit_um:
            fits = _Gang(tried, laid)
        else:
            fails = middle
    return fits


def _tried_by_envelopes(gangs: Sequence[_Gang]) -> set[int]:
    """The numbers of the gangs that are to be nested by envelopes, too: the most urgent first."""
    by_urgency = sorted(range(len(gangs)), key=lambda at: gangs[at].prints[0].print.urgency)
    tried: set[int] = set()
    left = MOST_BY_ENVELOPES
    for number in by_urgency:
        prints = gangs[number].prints
        pieces = count_of(prints)
        if pieces <= left and worth_envelopes(prints):
            tried.add(number)
            left -= pieces
    return tried


def _runs(
    gang: _Gang, limit_um: int, effort: Effort, *, by_envelopes: bool
) -> Iterator[RunDocument]:
    """The gang as one run; or each of its prints as one, where together they take more."""
    if gang.laid is not None:
        together_um = sum(alone_um(one) for one in gang.prints)
        enough = Effort(min(effort.pieces_laid, FOR_EACH_PIECE * count_of(gang.prints)))
        longer = lay_together(gang.prints, enough)
        laid = min(gang.laid, longer, key=lambda found: found.length_um)
        if by_envelopes:
            laid = with_envelopes(laid, gang.prints)
        if laid.length_um <= together_um:
            yield _document(gang.prints, laid, together_um)
            return
    for one in gang.prints:
        boxes = lay_alone(one, limit_um)
        is_tried = by_envelopes and worth_envelopes([one])
        laid = with_envelopes(boxes, [one]) if is_tried else boxes
        yield _document([one], laid, boxes.length_um)


_Form = tuple[int, int, Ring | None]
"""Width and height, and the envelope where it was nested by it."""


def _document(prints: Sequence[OnStrip], laid: Laid, alone_um: int) -> RunDocument:
    first, strip = prints[0].print, prints[0].strip
    return RunDocument(
        medium=first.medium,
        medium_name=prints[0].medium_name,
        colour=first.film_colour,
        print_mirrored=first.print_mirrored,
        cut_mirrored=first.cut_mirrored,
        recipe=first.recipe,
        width_um=strip.width_um + 2 * strip.margin_um,
        margin_um=strip.margin_um,
        gap_um=strip.gap_um,
        sheets=strip.sheet_um is not None,
        parts_um=tuple(part.length_um for part in laid.parts),
        bound_um=laid.bound_um,
        alone_um=alone_um,
        prints=tuple(_run_print(one, by_envelopes=laid.by_envelopes) for one in prints),
        pieces=tuple(_run_pieces(prints, laid)),
    )


def _run_pieces(prints: Sequence[OnStrip], laid: Laid) -> Iterator[RunPiece]:
    """The pieces in the order of cutting.

    Of pieces of one form it does not matter which lies where, so they are named in that order, the
    most urgent print first: what belongs together comes off the plotter together.
    """
    names: dict[_Form, deque[tuple[WaitingPrint, int]]] = {}
    form_of: dict[str, _Form] = {}
    for one in prints:
        wanted = one.print
        envelope = one.envelope_um if laid.by_envelopes else None
        form = wanted.width_um, wanted.height_um, envelope
        numbers = range(wanted.first_piece, wanted.first_piece + wanted.pieces)
        names.setdefault(form, deque()).extend((wanted, number) for number in numbers)
        form_of.update((key, form) for key in keys_of(one))
    margin_um = prints[0].strip.margin_um
    for number, part in enumerate(laid.parts):
        for placed in cut_order(part.placed):
            wanted, piece = names[form_of[placed.key]].popleft()
            yield RunPiece(
                ticket=wanted.ticket,
                decoration=wanted.decoration,
                piece=piece,
                part=number,
                x_um=placed.x_um + margin_um,
                y_um=placed.y_um + margin_um,
                width_um=placed.width_um,
                height_um=placed.height_um,
                turned=placed.turned,
                half_turned=placed.key in part.half_turned,
            )


def _run_print(one: OnStrip, *, by_envelopes: bool) -> RunPrint:
    wanted = one.print
    return RunPrint(
        ticket=wanted.ticket,
        decoration=wanted.decoration,
        placement=wanted.placement,
        promised_day=wanted.promised_day,
        artwork_id=wanted.artwork_id,
        width_um=wanted.width_um,
        height_um=wanted.height_um,
        pieces=wanted.pieces,
        first_piece=wanted.first_piece,
        reprint=wanted.reprint,
        envelope_um=(one.envelope_um or ()) if by_envelopes else (),
    )
