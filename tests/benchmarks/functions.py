"""Single functions, timed in this process beside a baseline that does a known part of the work."""

from __future__ import annotations

import io
import itertools
import sqlite3
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import coloraide
import numpy as np
import yaml
from numpy.typing import NDArray
from PIL import Image

from service.catalogue.loading import demo_shop_path, load_catalogue
from service.demo_artwork import DEMO_ARTWORK_ID
from service.domain.artwork import PaletteColour
from service.domain.booked_time import NOTHING_BOOKED, Booked, BookedTime
from service.domain.calendar import next_working_day
from service.domain.capable_to_promise import promise
from service.domain.choice_table import BLOCKERS, ChoiceTable, Given, table_of
from service.domain.choices import Selection, find_choices
from service.domain.colour import Lab, delta_e_2000_pair
from service.domain.compiled import CompiledCatalogue, compile_catalogue
from service.domain.facts import facts_for
from service.domain.line_price import LinePrice
from service.domain.look import predict, predict_many, surface_of
from service.domain.margins import Margin, Margins
from service.domain.measuring import measure
from service.domain.pricing import price_line, price_order
from service.domain.promising import material_ready_day, station_works
from service.domain.shop_now import ShopNow
from service.domain.verdict import judge, judge_decoration
from service.domain.ways_out import Search, find_ways_out
from service.domain.wishes import Decoration, Line
from service.intake.artwork_shelf import ShelvedArtwork
from service.intake.pictures import read_picture
from service.intake.requests import CheckRequest, LineRequest
from service.intake.resolve import resolve_lines
from service.store.database import Database
from service.store.ledger import booked_time
from service.store.migrate import upgrade
from service.store.tables import StationDay
from tests.benchmarks.figures import Burst, summarise, times_as_long
from tests.benchmarks.large_shop import large_shop
from tests.benchmarks.papers import ticket_works
from tests.benchmarks.shop_calls import QUOTE_LINES, checkout_line, lines_body
from tests.benchmarks.store_promises import promises_from_stores
from tests.benchmarks.table import Row

SAMPLE_S = 0.002
"""A sample is so many calls as take about this long, at least one."""

LEAST_SAMPLES, MOST_SAMPLES = 3, 1_000
NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
BOOKED_TICKETS = 10_000
WIDTH_PX, HEIGHT_PX = 3_000, 3_600

Work = Callable[[], object]


@dataclass(frozen=True, slots=True)
class Timing:
    """A function to time, and what it stands beside."""

    what: str
    ours: Work
    beside: str = ""
    baseline: Work | None = None


def measure_functions(
    seconds: float, folder: Path, picture: bytes, only: str = ""
) -> Iterator[Row]:
    """A row for each function whose name holds ``only``, each with ``seconds`` and its baseline."""
    bench = _Bench(picture)
    groups: Sequence[Callable[[], Iterator[Timing]]] = (
        bench.verdicts,
        bench.looks,
        bench.pickers,
        bench.prices,
        lambda: bench.promises(folder),
        _colours,
        _pictures,
        _catalogues,
        _papers,
    )
    for group in groups:
        for timing in group():
            if only in timing.what:
                yield _timed(timing, seconds)


def _papers() -> Iterator[Timing]:
    ours, bare = ticket_works()
    yield Timing("ticket PDF, nothing known", ours, "bare page of the same content", bare)


def _timed(timing: Timing, seconds: float) -> Row:
    """Time a function and its baseline in turn, sample after sample."""
    ours_loops = _loops(timing.ours)
    bare_loops = _loops(timing.baseline) if timing.baseline else 0
    ours: list[Burst] = []
    bare: list[Burst] = []
    ends_at = time.perf_counter() + seconds
    while len(ours) < LEAST_SAMPLES or (time.perf_counter() < ends_at and len(ours) < MOST_SAMPLES):
        ours.append(_sample(timing.ours, ours_loops))
        if timing.baseline:
            bare.append(_sample(timing.baseline, bare_loops))
    return Row(
        what=timing.what,
        ours=summarise(ours),
        beside=timing.beside,
        baseline=summarise(bare) if bare else None,
        ratio=times_as_long(ours, bare) if bare else None,
    )


def _loops(work: Work) -> int:
    """How many calls fill a sample; the first call, which may fill a cache, is not looked at."""
    work()
    return max(1, int(SAMPLE_S / max(_sample(work, 1).elapsed_s, 1e-7)))


def _sample(work: Work, loops: int) -> Burst:
    """So many calls as one burst of one latency, their mean, by processor time."""
    started = time.process_time()
    for _ in range(loops):
        work()
    mean_s = max((time.process_time() - started) / loops, 1e-9)
    return Burst((mean_s,), mean_s)


class _Bench:
    """The demo shop, compiled, with a line that works and one that does not."""

    def __init__(self, picture: bytes) -> None:
        loaded = load_catalogue(demo_shop_path())
        self._compiled: CompiledCatalogue = compile_catalogue(loaded.catalogue, loaded.version)
        pixels = read_picture(
            picture, declared_media_type="image/png", max_pixels=10**8, max_bytes=10**8
        )
        self._measures = measure(pixels.rgba)
        self._good = self._line("printed-film")
        self._bad = self._line("dye-transfer")

    def verdicts(self) -> Iterator[Timing]:
        """Judging, and the ways out of a refusal: asked again, and never asked before."""
        compiled, line, body = self._compiled, self._good, lines_body("printed-film")
        methods = list(compiled.chains)
        widths = itertools.count(2_100_000)

        def new(line: Line) -> tuple[Line, Decoration]:
            """The line with a width that was never asked for."""
            (wish,) = line.decorations
            changed = replace(wish, width_mm=next(widths) / 10_000)
            return replace(line, decorations=(changed,)), changed

        def judged_anew() -> None:
            judge(compiled, *new(line), "printed-film")

        def any_judged_anew() -> None:
            asked, wish = new(line)
            judge_decoration(compiled, asked, replace(wish, method_id=None))

        (wish,) = line.decorations
        request = "validating its request", lambda: CheckRequest.model_validate_json(body)
        yield Timing("judge a line, one method, as before", lambda: judge(
            compiled, line, wish, "printed-film"), *request)  # fmt: skip
        yield Timing("judge a line, one method, new width", judged_anew, *request)
        yield Timing(f"judge a line, any of {len(methods)}, new width", any_judged_anew, *request)
        rows = list(_every_choice(compiled, self._bad))
        each = (
            f"judging {len(rows)} blanks, colours, methods",
            lambda: [judge(compiled, line, wish, wish.method_id or "") for line, wish in rows],
        )
        (refused,) = self._bad.decorations
        yield Timing("ways out, as before", lambda: find_ways_out(
            compiled, self._bad, refused), *each)  # fmt: skip
        yield Timing("ways out, new width", lambda: find_ways_out(compiled, *new(self._bad)), *each)
        table = table_of(compiled)
        asked = Given(refused.artwork)
        yield Timing(
            f"ways out of {table.blocked(asked).size * 4:,} combinations, {len(BLOCKERS)} rules",
            Search(table, self._bad, refused, ()).ways_out,
            "one look at each combination (numpy)",
            lambda: np.count_nonzero(np.repeat(table.blocked(asked), 4, axis=0)),
        )

    def looks(self) -> Iterator[Timing]:
        """Predicting many looks in one call."""
        policy = self._compiled.catalogue.policy
        palette = [
            PaletteColour(srgb=f"#{value:02x}{255 - value:02x}{value // 2:02x}", share=1 / 16)
            for value in range(0, 256, 16)
        ]
        garments = list(self._compiled.garments.values())[:40]
        (wish,) = self._good.decorations
        labs = {
            id_: facts_for(self._compiled, self._good, wish, id_).film_labs
            for id_ in self._compiled.chains
        }
        surfaces = [
            surface_of(chain, garment, labs[id_])
            for id_, chain in list(self._compiled.chains.items())[:6]
            for garment in garments
        ]
        yield Timing(
            f"looks of 16 colours on {len(garments)} cloths by 6 methods",
            lambda: predict_many(palette, surfaces, policy),
            "one surface by itself",
            lambda: predict(palette, surfaces[0], policy),
        )

    def pickers(self) -> Iterator[Timing]:
        """Choices of a large shop, with widths that were never asked for, and its table."""
        shop = large_shop()
        table = table_of(shop)
        (wish,) = self._bad.decorations
        garment = next(iter(shop.garments.values()))
        art, blank_id = wish.artwork, garment.blank_id
        widths = itertools.count(2_400_000)
        selections: dict[str, Callable[[], Selection]] = {
            "nothing selected": Selection,
            "a method selected": lambda: Selection(method_id="dye-transfer"),
            "art selected": lambda: Selection(artwork=art),
            "art, a new width": lambda: Selection(artwork=art, width_mm=next(widths) / 10_000),
            "art, a new width, a blank": lambda: Selection(
                blank_id, artwork=art, width_mm=next(widths) / 10_000
            ),
        }
        for name, selected in selections.items():
            yield Timing(
                f"choices, {len(shop.garments):,} garments, {name}",
                lambda selected=selected: find_choices(table, selected()),  # type: ignore[misc]
                "one look at each combination (numpy)",
                lambda: (table.blocked(Given(None))[0] == 0).any(axis=(0, 2)),
            )
        yield Timing(
            f"table of {len(shop.garments):,} garments, made anew",
            lambda: ChoiceTable(shop, tuple(shop.garments.values())).warm_up(),
            "compiling the shop",
            lambda: compile_catalogue(shop.catalogue, "again"),
        )

    def prices(self) -> Iterator[Timing]:
        """Pricing a line, and an order of as many as one may have."""
        catalogue, line = self._compiled.catalogue, self._good
        price = price_line(catalogue, line)
        yield Timing(
            "price a line",
            lambda: price_line(catalogue, line),
            f"arithmetic of its {len(price.rows)} rows",
            lambda: _amounts([price]),
        )
        (wish,) = line.decorations
        many = [
            replace(line, decorations=(replace(wish, width_mm=200.0 + at),))
            for at in range(QUOTE_LINES)
        ]
        prices = price_order(catalogue, many).lines
        yield Timing(
            f"price an order of {len(many)} lines",
            lambda: price_order(catalogue, many),
            f"arithmetic of its {sum(len(one.rows) for one in prices):,} rows",
            lambda: _amounts(prices),
        )

    def promises(self, folder: Path) -> Iterator[Timing]:
        """Promising a day in an empty and in a full shop."""
        catalogue = self._compiled.catalogue
        work = price_line(catalogue, self._good).work
        works, material = [station_works(work)], material_ready_day(catalogue, [work], NOW)
        booked = self._booked(BOOKED_TICKETS)

        def promised(booked: Booked, margins: Margins | None = None) -> Work:
            shop = replace(ShopNow.of(catalogue, NOW, booked), margins=margins or {})
            return lambda: promise(shop, works, material)

        yield Timing("promise a day, nothing booked", promised({}))
        full = f"promise a day, {BOOKED_TICKETS:,} tickets booked"
        yield Timing(full, promised(booked), "nothing booked", promised({}))
        for seconds in (3_600, 0):
            margins = _margins(booked, Margin(seconds, 2))
            name = f"{full}, that bear {seconds // 60} min"
            yield Timing(name, promised(booked, margins), "nothing booked", promised({}))
        before = {key: time for key, time in booked.items() if key[1] > min(booked)[1]}
        name = f"{full}, free time before them, that bear nothing"
        margins = _margins(before, Margin(0, 0))
        yield Timing(name, promised(before, margins), "nothing booked", promised({}))
        yield from _ledger(folder, booked)
        with promises_from_stores(folder, catalogue, works[0], booked, NOW) as (full_of, empty):
            yield Timing(
                f"promise a day from the store, {BOOKED_TICKETS:,} tickets open, stock kept",
                full_of(BOOKED_TICKETS),
                "the same with none open, nothing kept",
                empty,
            )

    def _line(self, method: str) -> Line:
        request = LineRequest.model_validate(checkout_line(method))
        artworks = {DEMO_ARTWORK_ID: ShelvedArtwork("demo", self._measures, rights_declared=True)}
        (line,) = resolve_lines(self._compiled, [request], artworks)
        return line

    def _booked(self, tickets: int) -> dict[tuple[str, date], BookedTime]:
        """Station days filled one after another with the work of so many one-piece lines."""
        catalogue = self._compiled.catalogue
        single = replace(self._good, pieces_by_size={"M": 1})
        work = price_line(catalogue, single).work
        start = material_ready_day(catalogue, [work], NOW).day
        booked: dict[tuple[str, date], BookedTime] = {}
        for step in station_works(work):
            station = catalogue.station_by_id[step.station]
            day_s = station.minutes_per_day * 60 * station.machines
            left_s, day = step.seconds * tickets, start
            while left_s > 0:
                day = next_working_day(catalogue.calendar, day)
                before = booked.get((step.station, day), NOTHING_BOOKED)
                taken_s = min(left_s, day_s - before.seconds)
                booked[step.station, day] = BookedTime(
                    before.seconds + taken_s, 0, before.squares_s2 + step.seconds * taken_s
                )
                left_s, day = left_s - taken_s, day + timedelta(days=1)
        return booked


def _margins(booked: Booked, each: Margin) -> Margins:
    """The same margin on every station day on which something is booked."""
    found: dict[tuple[str, bool], dict[date, Margin]] = {}
    for station, day in booked:
        found.setdefault((station, False), {})[day] = each
    return found


def _every_choice(compiled: CompiledCatalogue, line: Line) -> Iterator[tuple[Line, Decoration]]:
    """The line on each blank and colour that has its placement and sizes, by each method."""
    (wish,) = line.decorations
    for garment in compiled.garments.values():
        placement = garment.placements.get(wish.placement_id)
        if placement and all(size in placement.areas for size in line.pieces_by_size):
            for method in compiled.catalogue.methods:
                changed = replace(wish, method_id=method.id)
                yield replace(line, garment=garment, decorations=(changed,)), changed


def _amounts(prices: Sequence[LinePrice]) -> list[Decimal]:
    step = Decimal("1e-10")
    rows = (row for price in prices for row in price.rows)
    return [(row.quantity * row.rate / row.rate_per).quantize(step) for row in rows]


def _ledger(folder: Path, booked: Booked) -> Iterator[Timing]:
    """Reading station days, as each quote and each accepted order does."""
    file = folder / "ledger.sqlite3"
    upgrade(f"sqlite:///{file}")
    database = Database.open(f"sqlite:///{file}")
    database.write(
        lambda session: session.add_all(
            StationDay(station=station, day=day, booked_s=one.seconds, squares_s2=one.squares_s2)
            for (station, day), one in booked.items()
        )
    )
    plain = sqlite3.connect(file)
    statement = (
        "SELECT station, day, booked_s, rush_s, squares_s2 FROM station_day "
        "WHERE day >= ? AND booked_s > 0"
    )
    first = min(day for _, day in booked)
    yield Timing(
        f"read the {len(booked):,} station days of these",
        lambda: database.read(lambda session: booked_time(session, first, now=NOW)),
        "the same rows by plain sqlite3",
        lambda: plain.execute(statement, (first.isoformat(),)).fetchall(),
    )
    plain.close()
    database.close()


def _colours() -> Iterator[Timing]:
    one, other = Lab(50.0, 2.5, -25.0), Lab(61.29, -5.11, -5.27)
    pair = [coloraide.Color("lab", list(lab)) for lab in (one, other)]
    yield Timing(
        "CIEDE2000 of a pair",
        lambda: delta_e_2000_pair(one, other),
        "coloraide, the same pair",
        lambda: pair[0].delta_e(pair[1], method="2000"),
    )


def _pictures() -> Iterator[Timing]:
    rgba = _big_picture()
    kept = io.BytesIO()
    Image.fromarray(rgba).save(kept, format="PNG", compress_level=1)
    encoded = kept.getvalue()
    yield Timing(
        f"measure {WIDTH_PX} x {HEIGHT_PX} pixels",
        lambda: measure(rgba),
        "decoding them from PNG (Pillow)",
        lambda: Image.open(io.BytesIO(encoded)).load(),
    )


def _big_picture() -> NDArray[np.uint8]:
    """A disc of slow gradients with a soft edge on nothing: no measure has an easy way."""
    rows, columns = np.ogrid[0:HEIGHT_PX, 0:WIDTH_PX]
    rgba = np.full((HEIGHT_PX, WIDTH_PX, 4), 128, dtype=np.uint8)
    rgba[..., 0] = columns * 255 // WIDTH_PX
    rgba[..., 1] = rows * 255 // HEIGHT_PX
    middle = np.float32(HEIGHT_PX / 2), np.float32(WIDTH_PX / 2)
    radius = np.hypot((rows - middle[0]).astype("f4"), (columns - middle[1]).astype("f4"))
    rgba[..., 3] = np.clip((WIDTH_PX * 0.48 - radius) * 8, 0, 255)
    return rgba


def _catalogues() -> Iterator[Timing]:
    files = [file.read_bytes() for file in sorted(demo_shop_path().glob("*.yaml"))]
    loader = yaml.CSafeLoader if yaml.__with_libyaml__ else yaml.SafeLoader

    def load_and_compile() -> CompiledCatalogue:
        loaded = load_catalogue(demo_shop_path())
        return compile_catalogue(loaded.catalogue, loaded.version)

    yield Timing(
        "load and compile the demo shop",
        load_and_compile,
        "reading its YAML alone",
        lambda: [yaml.load(file, loader) for file in files],  # noqa: S506 - it is the safe loader
    )
