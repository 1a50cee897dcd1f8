"""Runs proposed: waiting prints that go together, cut into runs by day and length, and nested.

Prints go together on one medium in one colour, mirrored alike and pressed with the same settings
on that medium. Of each such group the most urgent come first, and a run takes as many of them, in
that order, as its days and its length allow: no print ever gives way to one promised later. What
takes more roll together than each by itself is kept apart.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from service.domain.calendar import add_working_days
from service.domain.cut_order import cut_order
from service.domain.nesting.bounds import strip_bound_um
from service.domain.nesting.climbing import QUOTE, RUN, Effort
from service.domain.nesting.pieces import NestPiece, Placed, kinds_of
from service.domain.nesting.search import nest_strip
from service.domain.nesting.sheets import nest_sheets
from service.domain.roll import Layout, Strip, lay_out, misfit
from service.domain.run_document import RunDocument, RunPiece, RunPrint, piece_key
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


@dataclass(frozen=True, slots=True)
class _Laid:
    """Pieces on the parts of a strip, margins not counted in their places."""

    parts: tuple[tuple[Placed, ...], ...]
    parts_um: tuple[int, ...]
    bound_um: int

    @property
    def length_um(self) -> int:
        return sum(self.parts_um)


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
    runs = [run for gang in together for run in _runs(gang, _limit_um(policy), each)]
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
    laid: _Laid | None


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
        laid = None if _bound_um(tried) > limit_um else _lay_together(tried, _TRIED)
        if laid is not None and laid.length_um <= limit_um:
            fits = _Gang(tried, laid)
        else:
            fails = middle
    return fits


def _bound_um(prints: Sequence[OnStrip]) -> int:
    strip = prints[0].strip
    if strip.sheet_um is not None:
        return 0
    kinds = kinds_of(_pieces(prints), strip.width_um, strip.gap_um)
    return strip_bound_um(kinds, strip.width_um, strip.gap_um) + 2 * strip.margin_um


def _runs(gang: _Gang, limit_um: int, effort: Effort) -> Iterator[RunDocument]:
    """The gang as one run; or each of its prints as one, where together they take more."""
    if gang.laid is not None:
        alone_um = sum(_alone_um(one) for one in gang.prints)
        pieces = sum(one.print.pieces for one in gang.prints)
        enough = Effort(min(effort.pieces_laid, FOR_EACH_PIECE * pieces))
        longer = _lay_together(gang.prints, enough)
        laid = min(gang.laid, longer, key=lambda found: found.length_um)
        if laid.length_um <= alone_um:
            yield _document(gang.prints, laid, alone_um)
            return
    for one in gang.prints:
        by_itself = _lay_alone(one, limit_um)
        yield _document([one], by_itself, by_itself.length_um)


def _alone_um(one: OnStrip) -> int:
    """What a print takes that was laid out by itself, in one part."""
    return int(_layout(one, one.print.pieces).length_mm * _UM_PER_MM)


def _pieces(prints: Iterable[OnStrip]) -> list[NestPiece]:
    return [
        NestPiece(
            piece_key(one.print.ticket, one.print.decoration, number),
            one.print.width_um,
            one.print.height_um,
            one.strip.may_turn,
        )
        for one in prints
        for number in range(one.print.first_piece, one.print.first_piece + one.print.pieces)
    ]


def _lay_together(prints: Sequence[OnStrip], effort: Effort) -> _Laid:
    return _lay(_pieces(prints), prints[0].strip, effort)


def _lay(pieces: Sequence[NestPiece], strip: Strip, effort: Effort) -> _Laid:
    edges_um = 2 * strip.margin_um
    if strip.sheet_um is None:
        nest = nest_strip(pieces, strip.width_um, strip.gap_um, effort)
        return _Laid((nest.placed,), (nest.length_um + edges_um,), nest.bound_um + edges_um)
    sheets = nest_sheets(pieces, strip.width_um, strip.sheet_um, strip.gap_um, effort)
    each_um = strip.sheet_um + edges_um
    return _Laid(
        tuple(nest.placed for nest in sheets.sheets),
        (each_um,) * len(sheets.sheets),
        sheets.bound * each_um,
    )


def _lay_alone(one: OnStrip, limit_um: int) -> _Laid:
    """One print by itself; of a roll in as many parts as its length asks for."""
    pieces, strip = _pieces([one]), one.strip
    most = len(pieces) if strip.sheet_um is not None else _held(one, limit_um)
    parts = [_lay(pieces[at : at + most], strip, QUOTE) for at in range(0, len(pieces), most)]
    return _Laid(
        tuple(part for laid in parts for part in laid.parts),
        tuple(length for laid in parts for length in laid.parts_um),
        sum(laid.bound_um for laid in parts),
    )


def _held(one: OnStrip, limit_um: int) -> int:
    """How many of the print's pieces lie on the length; at least one."""
    fits, fails = 1, one.print.pieces + 1
    while fails - fits > 1:
        middle = (fits + fails) // 2
        if _layout(one, middle).length_mm * _UM_PER_MM <= limit_um:
            fits = middle
        else:
            fails = middle
    return fits


def _layout(one: OnStrip, pieces: int) -> Layout:
    wanted = one.print
    return lay_out(one.strip, wanted.width_um / _UM_PER_MM, wanted.height_um / _UM_PER_MM, pieces)


def _document(prints: Sequence[OnStrip], laid: _Laid, alone_um: int) -> RunDocument:
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
        parts_um=laid.parts_um,
        bound_um=laid.bound_um,
        alone_um=alone_um,
        prints=tuple(_run_print(one) for one in prints),
        pieces=tuple(_run_pieces(prints, laid)),
    )


def _run_pieces(prints: Sequence[OnStrip], laid: _Laid) -> Iterator[RunPiece]:
    """The pieces in the order of cutting.

    Of pieces of one size it does not matter which lies where, so they are named in that order, the
    most urgent print first: what belongs together comes off the plotter together.
    """
    names: dict[tuple[int, int], deque[tuple[WaitingPrint, int]]] = {}
    for one in prints:
        wanted = one.print
        size = wanted.width_um, wanted.height_um
        numbers = range(wanted.first_piece, wanted.first_piece + wanted.pieces)
        names.setdefault(size, deque()).extend((wanted, number) for number in numbers)
    for part, of_part in enumerate(laid.parts):
        for placed in cut_order(of_part):
            size = placed.width_um, placed.height_um
            wanted, number = names[size[::-1] if placed.turned else size].popleft()
            yield _run_piece(wanted, number, placed, part, prints[0].strip.margin_um)


def _run_print(one: OnStrip) -> RunPrint:
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
    )


def _run_piece(
    wanted: WaitingPrint, number: int, placed: Placed, part: int, margin_um: int
) -> RunPiece:
    return RunPiece(
        ticket=wanted.ticket,
        decoration=wanted.decoration,
        piece=number,
        part=part,
        x_um=placed.x_um + margin_um,
        y_um=placed.y_um + margin_um,
        width_um=placed.width_um,
        height_um=placed.height_um,
        turned=placed.turned,
    )
