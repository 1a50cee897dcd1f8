"""What a method costs and delays, reckoned quickly: to rank ways of making, never to charge.

All that does not hang on the print's size or the pieces is added up once for each method. The
result is the direct cost of a line with that one decoration, as
:func:`service.domain.costing.cost_line` would add it up, with media laid in plain rows, and minutes
and ink not rounded. A set-up that several decorations of a line would share is counted in full, and
what the shop has seen of spoilage is not looked at.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from service.domain.blanks import Blank
from service.domain.compiled import CompiledCatalogue
from service.domain.machines import Printer
from service.domain.media import Medium
from service.domain.methods import Method, Operation, OperationKind
from service.domain.money import wide_arithmetic
from service.domain.roll import Strip, micrometres
from service.domain.shop import Catalogue
from service.domain.starts import StartsTable, starts_table
from service.domain.wishes import Decoration
from service.domain.work import UM2_PER_M2, exact, ink_share, media_of, strip_on

_ZERO = Decimal(0)
_STEP = Decimal("1e-10")
_MIN_PER_HOUR = 60
_MIN_PER_DAY = 1_440
_UM_PER_M = 10**6
_MM_PER_M = 1_000


@dataclass(frozen=True, slots=True)
class MediumRate:
    """Where pieces lie on a medium, and the price of a micrometre of roll or of one sheet."""

    strip: Strip
    price: Decimal


@dataclass(frozen=True, slots=True)
class MethodRates:
    """What making by one method costs in any size and number.

    ``setup`` is once a job: set-ups and the check of the artwork. For every piece started there
    is ``each``, of labour, machines and consumables, ``print_m2`` for a square metre of print,
    ``cut_m`` for a metre of cut line and ``weed_minute`` for a minute that weeding is estimated at.
    ``ink_per_m2`` is for full cover, over all of the method's prints. All are in the currency's
    major unit. ``lead_days`` is the longest of its media's, ``wait_days`` the least working days
    its unattended times add.
    """

    setup: Decimal
    each: Decimal
    print_m2: Decimal
    cut_m: Decimal
    weed_minute: Decimal
    ink_per_m2: Decimal
    media: tuple[MediumRate, ...]
    starts: StartsTable
    lead_days: int
    wait_days: int


def method_rates(catalogue: Catalogue, method: Method) -> MethodRates:
    """Add up what the method always costs; some tens of microseconds, best remembered."""
    media = media_of(catalogue, method)
    with wide_arithmetic():
        return MethodRates(
            setup=_setup(catalogue, method),
            each=_each(catalogue, method),
            print_m2=_machines(catalogue, method, "print_m2_min"),
            cut_m=_machines(catalogue, method, "cut_m_min"),
            weed_minute=_weeding(catalogue, method),
            ink_per_m2=_ink_per_m2(catalogue, method),
            media=tuple(_medium_rate(catalogue, method, medium) for medium in media),
            starts=starts_table(catalogue.prices, [method]),
            lead_days=max((medium.supplier_lead_days for medium in media), default=0),
            wait_days=_wait_days(catalogue, method),
        )


def rates_of(compiled: CompiledCatalogue, method_id: str) -> MethodRates:
    """The rates of one of the catalogue's methods, worked out once; KeyError for another."""
    return compiled.memo.get(
        ("method rates", method_id),
        lambda: method_rates(compiled.catalogue, compiled.catalogue.method_by_id[method_id]),
    )


def indicative_piece_cost(rates: MethodRates, decoration: Decoration, pieces: int) -> Decimal:
    """Cost of decorating one of ``pieces`` good garments, without the garment, to ten decimals.

    Never falls when the print grows. A print too large for a medium is counted as if it overhung,
    and an outline never measured as none: what cannot be made is for the rules to say. ValueError
    below one piece.
    """
    starts = rates.starts.of(pieces)
    width_um, height_um = micrometres(decoration.width_mm), micrometres(decoration.height_mm)
    each = rates.each
    print_m2 = rates.print_m2 + rates.ink_per_m2 * ink_share(decoration.artwork)
    if print_m2:
        each += print_m2 * (width_um * height_um) / UM2_PER_M2
    if rates.cut_m or rates.weed_minute:
        at = decoration.artwork.at(decoration.width_mm)
        each += rates.cut_m * exact(at.cut_length_mm or 0) / _MM_PER_M
        each += rates.weed_minute * exact(at.weed_min or 0)
    job = rates.setup + each * starts
    for medium in rates.media:
        job += medium.price * _taken(medium.strip, width_um, height_um, starts)
    return (job / pieces).quantize(_STEP)


def indicative_days(rates: MethodRates, blank: Blank | None) -> int:
    """Working days that material and unattended times alone add; attended work is not looked at.

    Material is bought in for the order, as :func:`service.domain.promising.material_ready_day`
    takes it; the customer's own garment (None) is there.
    """
    blank_days = blank.supplier_lead_days if blank is not None else 0
    return max(blank_days, rates.lead_days) + rates.wait_days


def _setup(catalogue: Catalogue, method: Method) -> Decimal:
    """Set-ups, each that several operations share counted once, and the artwork check."""
    longest: dict[tuple[str, OperationKind, str | None], tuple[Decimal, Decimal]] = {}
    for step in method.operations:
        shared = step.station, step.kind, step.medium
        job, run = longest.get(shared, (_ZERO, _ZERO))
        longest[shared] = max(job, step.setup_min), max(run, step.run_setup_min)
    setups = (sum(both) * _rate(catalogue, station) for (station, *_), both in longest.items())
    first = catalogue.station_by_id[method.operations[0].station]
    check = catalogue.prices.artwork_check_min * first.labour_rate_per_hour
    return (sum(setups, _ZERO) + check) / _MIN_PER_HOUR


def _each(catalogue: Catalogue, method: Method) -> Decimal:
    runs = (step.each_min * _rate(catalogue, step.station) for step in method.operations)
    return sum(runs, _ZERO) / _MIN_PER_HOUR + catalogue.prices.consumables_per_piece


def _machines(catalogue: Catalogue, method: Method, minutes: str) -> Decimal:
    """What machines that work alone cost for one unit of what those minutes are for."""
    runs = (
        getattr(step, minutes) * catalogue.station_by_id[step.station].machine_rate_per_hour
        for step in method.operations
    )
    return sum(runs, _ZERO) / _MIN_PER_HOUR


def _weeding(catalogue: Catalogue, method: Method) -> Decimal:
    runs = (step.weed_share * _rate(catalogue, step.station) for step in method.operations)
    return sum(runs, _ZERO) / _MIN_PER_HOUR


def _rate(catalogue: Catalogue, station_id: str) -> Decimal:
    """Labour and machine for an hour."""
    station = catalogue.station_by_id[station_id]
    return station.labour_rate_per_hour + station.machine_rate_per_hour


def _ink_per_m2(catalogue: Catalogue, method: Method) -> Decimal:
    printers = (
        catalogue.machine_by_id.get(step.machine or "")
        for step in method.operations
        if step.kind is OperationKind.PRINT
    )
    rates = (
        Decimal(str(printer.ink_ml_m2)) * printer.ink_price_per_ml
        for printer in printers
        if isinstance(printer, Printer)
    )
    return sum(rates, _ZERO)


def _medium_rate(catalogue: Catalogue, method: Method, medium: Medium) -> MediumRate:
    strip = strip_on(catalogue, method, medium)
    per = _UM_PER_M if strip.sheet_um is None else 1
    return MediumRate(strip, medium.price_per_m / per)


def _wait_days(catalogue: Catalogue, method: Method) -> int:
    """Days the unattended times take from the morning, with nothing else to do and none closed.

    They run by the clock; what ends after a station's hours goes on with the next morning.
    """
    days = into_day_min = 0
    for step in method.operations:
        days, into_day_min = _waited(catalogue, step, days, into_day_min)
    return days


def _waited(catalogue: Catalogue, step: Operation, days: int, into_day_min: int) -> tuple[int, int]:
    if step.wait_min == 0:
        return days, into_day_min
    more, into_day_min = divmod(into_day_min + step.wait_min, _MIN_PER_DAY)
    if into_day_min > catalogue.station_by_id[step.station].minutes_per_day:
        return days + more + 1, 0
    return days + more, into_day_min


def _taken(strip: Strip, width_um: int, height_um: int, pieces: int) -> int:
    """Micrometres of roll, or sheets, in equal rows; the shorter way round of those that fit.

    Where neither way fits the longer is taken, so that a larger print never seems to take less.
    """
    upright = _rows(strip, width_um, height_um, pieces)
    if not strip.may_turn:
        return upright[1]
    turned = _rows(strip, height_um, width_um, pieces)
    if upright[0] is turned[0]:
        return min(upright[1], turned[1]) if upright[0] else max(upright[1], turned[1])
    return upright[1] if upright[0] else turned[1]


def _rows(strip: Strip, width_um: int, height_um: int, pieces: int) -> tuple[bool, int]:
    """Whether a piece fits that way round, and micrometres of roll or sheets for all of them."""
    gap_um = strip.gap_um
    across = max(1, (strip.width_um + gap_um) // (width_um + gap_um))
    rows = -(-pieces // across)
    fits = width_um <= strip.width_um
    if strip.sheet_um is None:
        return fits, rows * (height_um + gap_um) - gap_um + 2 * strip.margin_um
    rows_per_sheet = max(1, (strip.sheet_um + gap_um) // (height_um + gap_um))
    return fits and height_um <= strip.sheet_um, -(-rows // rows_per_sheet)
