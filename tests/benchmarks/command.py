"""The command: what to measure, and the table at the end."""

from __future__ import annotations

import argparse
import os
import platform
import signal
import sys
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from service.demo_artwork import draw_demo_artwork
from tests.benchmarks.endpoints import Effort, measure_endpoints
from tests.benchmarks.functions import measure_functions
from tests.benchmarks.measuring_pictures import measure_large_pictures
from tests.benchmarks.packing import measure_packing
from tests.benchmarks.proofs_and_refusals import measure_proofs, measure_refusals
from tests.benchmarks.sequencing import measure_sequencing
from tests.benchmarks.shop_calls import ENDPOINTS
from tests.benchmarks.stores import fresh_stores
from tests.benchmarks.table import Row, table_lines
from tests.benchmarks.uploading import measure_uploading

QUICK = Effort(rounds=5, burst_s=0.15, endpoint_s=2.0, warm_up_s=0.1, function_s=0.3)
LONG = Effort(rounds=15, burst_s=1.0, endpoint_s=60.0, warm_up_s=0.5, function_s=2.0)
PICTURE_FACTOR, STREAM_FACTOR = 10, 10
"""How many times as long as a function or a burst a large picture and a stream of calls take."""
LONGEST_STREAM_S, MOST_STREAM_ROUNDS = 4.0, 4
"""Of a stream beside uploads: it has to wait for an upload at the end of each round."""

STORES = ("sqlite", "postgresql")

Section = tuple[str, list[Row]]


def main(help_text: str, arguments: Sequence[str] | None = None) -> None:
    """Measure and print, as ``arguments`` (the command line's when None) say.

    Interrupted or told to end, it still stops what it started and deletes what it wrote.
    """
    options = _parser(help_text).parse_args(arguments)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(128 + signal.SIGTERM))
    try:
        _measure(
            options.effort,
            STORES if options.store == "both" else (options.store,),
            options.only,
            options.reference_data,
        )
    except KeyboardInterrupt:
        sys.exit(128 + signal.SIGINT)


def _measure(effort: Effort, kinds: Sequence[str], only: str, reference_data: Path | None) -> None:
    picture = draw_demo_artwork()
    sections: list[Section] = []
    versions: list[str] = []
    with tempfile.TemporaryDirectory(prefix="garment-benchmark-") as name:
        for kind in kinds:
            section, version = _endpoints(kind, Path(name), effort, only, picture, sections)
            sections.append(section)
            versions.append(version)
        rows = measure_functions(effort.function_s, Path(name), picture, only)
        sections.append(("functions", _collected(rows)))
        sections.append(("large pictures", _collected(_large_pictures(Path(name), effort, only))))
        thorough = bool(only) or effort is LONG
        packed = measure_packing(reference_data, only, thorough=thorough)
        sections.append(("nesting", _collected(packed)))
        sequenced = measure_sequencing(only, thorough=thorough)
        sections.append(("sequencing", _collected(sequenced)))
    _clear()
    print("\n".join(table_lines([section for section in sections if section[1]])))
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    python = f"{platform.python_implementation()} {platform.python_version()}"
    print(f"\n{python}, {cores} processors, {'; '.join(versions)}; {effort.rounds} rounds")


def _large_pictures(folder: Path, effort: Effort, only: str) -> Iterator[Row]:
    yield from measure_large_pictures(PICTURE_FACTOR * effort.function_s, only)
    yield from measure_proofs(effort.function_s, only)
    yield from measure_refusals(effort.function_s, only)
    rounds = min(max(2, effort.rounds // 3), MOST_STREAM_ROUNDS)
    seconds = min(STREAM_FACTOR * effort.burst_s, LONGEST_STREAM_S)
    yield from measure_uploading(folder, rounds, seconds, only)


def _parser(help_text: str) -> argparse.ArgumentParser:
    as_written = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmarks", description=help_text, formatter_class=as_written
    )
    lengths = parser.add_mutually_exclusive_group()
    for name, effort in (("--quick", QUICK), ("--long", LONG)):
        lengths.add_argument(name, dest="effort", action="store_const", const=effort, default=QUICK)
    parser.add_argument("--store", choices=(*STORES, "both"), default="sqlite")
    parser.add_argument("--only", default="", metavar="WORD", help="rows whose name holds WORD")
    parser.add_argument(
        "--reference-data", type=Path, metavar="FOLDER", help="pack all the published instances"
    )
    return parser


def _endpoints(
    kind: str,
    folder: Path,
    effort: Effort,
    only: str,
    picture: bytes,
    before: Sequence[Section],
) -> tuple[Section, str]:
    """The endpoints on one store; those that touch none are measured on the first alone."""
    chosen = [e for e in ENDPOINTS if only in e.what and (e.stored or not before)]
    with fresh_stores(kind, folder) as store:
        rows = measure_endpoints(store, folder / kind, effort, chosen, picture) if chosen else ()
        return (f"endpoints on {store.version}", _collected(rows)), store.version


def _collected(rows: Iterable[Row]) -> list[Row]:
    """The rows, each named on the terminal as it comes."""
    collected = []
    for row in rows:
        _clear()
        _tell(f"{row.what} ...")
        collected.append(row)
    return collected


def _tell(text: str) -> None:
    if sys.stderr.isatty():
        print(text, end="", file=sys.stderr, flush=True)


def _clear() -> None:
    _tell("\r\x1b[K")
