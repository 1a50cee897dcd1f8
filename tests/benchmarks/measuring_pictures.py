"""Reading and measuring large pictures: time, peak memory, and how it stands to a known part."""

from __future__ import annotations

import io
import resource
import time
from collections.abc import Callable, Iterator
from multiprocessing import get_context
from pathlib import Path
from typing import NamedTuple

import cv2
import numpy as np
from PIL import Image

from service.domain.measuring import measure
from service.intake.pictures import read_picture
from tests.benchmarks.figures import Burst, summarise, times_as_long
from tests.benchmarks.large_pictures import artwork_png, photograph_jpeg
from tests.benchmarks.table import Row

PICTURES = {
    "read, measure artwork 3000 x 3600 RGBA PNG": artwork_png,
    "read, measure artwork 4000 x 5000 photograph JPEG": photograph_jpeg,
}
BESIDE = "decoding (Pillow), one distance transform (OpenCV)"
LEAST_SAMPLES, MOST_SAMPLES = 3, 30


class Figures(NamedTuple):
    """Bursts of one call each, in turn, and the peak memory of the first call alone."""

    ours: list[Burst]
    baseline: list[Burst]
    peak_bytes: int


def measure_large_pictures(seconds: float, only: str) -> Iterator[Row]:
    """A row for each picture whose name holds ``only``; each is timed in a fresh process."""
    for what, draw in PICTURES.items():
        if only not in what:
            continue
        with get_context("spawn").Pool(1) as fresh:
            figures = fresh.apply(figures_of, (draw(), seconds))
        yield Row(
            what=f"{what}, peak {figures.peak_bytes / 1e6:.0f} MB",
            ours=summarise(figures.ours),
            beside=BESIDE,
            baseline=summarise(figures.baseline),
            ratio=times_as_long(figures.ours, figures.baseline),
        )


def figures_of(data: bytes, seconds: float) -> Figures:
    """Measure in this process, on one core; for a process that has done nothing before."""
    cv2.setNumThreads(1)

    def ours() -> None:
        picture = read_picture(data, declared_media_type=None, max_pixels=10**8, max_bytes=10**8)
        measure(picture.rgba)

    def baseline() -> None:
        pixels = np.asarray(Image.open(io.BytesIO(data)).convert("RGBA"))
        solid = (pixels[..., 3] >= 128).astype(np.uint8)
        solid[0, 0] = 0
        cv2.distanceTransform(solid, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)

    ours()
    peak = _peak_bytes()
    bursts: tuple[list[Burst], list[Burst]] = ([], [])
    ends_at = time.perf_counter() + seconds
    while len(bursts[0]) < LEAST_SAMPLES or (
        time.perf_counter() < ends_at and len(bursts[0]) < MOST_SAMPLES
    ):
        for work, burst in zip((ours, baseline), bursts, strict=True):
            burst.append(timed(work))
    return Figures(*bursts, peak)


def timed(work: Callable[[], object]) -> Burst:
    """One call as a burst, by the clock and by processor time."""
    started, worked = time.perf_counter(), time.process_time()
    work()
    elapsed_s = time.perf_counter() - started
    return Burst((elapsed_s,), elapsed_s, processor_s=time.process_time() - worked)


def _peak_bytes() -> int:
    """Most memory this process has had: where the system counts it from its start, else ever."""
    status = Path("/proc/self/status")
    if status.exists():
        for line in status.read_text("ascii").splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) * 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
