"""Drawing a proof that nobody drew before, and refusing drawings that are made to take long."""

from __future__ import annotations

import io
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from xml.etree.ElementTree import fromstring

from PIL import Image

from service.catalogue.loading import demo_shop_path, load_catalogue
from service.demo_artwork import DEMO_ARTWORK_ID, draw_demo_artwork
from service.domain.compiled import compile_catalogue
from service.domain.errors import BadInput
from service.domain.measuring import measure
from service.intake.artwork_shelf import ShelvedArtwork
from service.intake.picture_keeping import clean_file
from service.intake.pictures import Picture, read_picture
from service.intake.proofs import ProofQuery, plan_proof, read_small
from service.render.proof import draw_proof
from tests.benchmarks.figures import Burst, summarise, times_as_long
from tests.benchmarks.measuring_pictures import timed
from tests.benchmarks.table import Row

PROOF_PX = 1_000
NO_BOUND = 10**8
LEAST_SAMPLES, MOST_SAMPLES = 3, 100

_FULL = '<rect width="10" height="10" fill="red"{}/>'
_LONG_PATH = "M0 0" + "l1 1-1-1" * 90_000
DRAWINGS = {
    "5,000 see-through layers": f'<g opacity=".5">{_FULL.format("")}</g>' * 5_000,
    "19,990 see-through shapes": _FULL.format(' opacity=".5"') * 19_990,
    "nothing filled": _FULL.format(' fill-opacity="0"'),
    "15 layers with nothing in them": f'<g opacity="0">{_FULL.format("")}</g>' * 15,
    "180,000 path steps, out of all bounds": f'<path d="{_LONG_PATH}M1e8 1"/>',
    "a long path copied 9,000 times": f'<defs><path id="p" d="{_LONG_PATH}"/></defs>'
    + '<use href="#p"/>' * 9_000,
    "text behind 15,000 shapes": '<rect style="fill:red;stroke:#000;stroke-width:2"/>' * 15_000
    + "<text/>",
}
"""Bodies of SVG files that are refused, each late."""


def measure_proofs(seconds: float, only: str) -> Iterator[Row]:
    """Rows of proofs that are drawn anew, if their names hold ``only``: planned, drawn, encoded.

    With the small artwork at hand, and with it made of the kept file first.
    """
    what = f"artwork proof at {PROOF_PX:,} px, not kept"
    names = (f"{what}, the small artwork at hand", f"{what}, nor the small artwork")
    if not any(only in name for name in names):
        return
    loaded = load_catalogue(demo_shop_path())
    compiled = compile_catalogue(loaded.catalogue, loaded.version)
    picture = _read(draw_demo_artwork())
    measures, kept = measure(picture.rgba), clean_file(picture)
    shelved = {DEMO_ARTWORK_ID: ShelvedArtwork("demo", measures, rights_declared=True)}
    query = ProofQuery(
        blank="classic-cotton-tee", colour="black", placement="front", width_mm=240.0
    )
    small = read_small(kept, measures.ink_box, NO_BOUND)

    def at_hand() -> object:
        proof = plan_proof(compiled, DEMO_ARTWORK_ID, query, shelved)
        return draw_proof(proof, small, PROOF_PX)

    def from_file() -> object:
        proof = plan_proof(compiled, DEMO_ARTWORK_ID, query, shelved)
        return draw_proof(proof, read_small(kept, measures.ink_box, NO_BOUND), PROOF_PX)

    drawn = draw_proof(plan_proof(compiled, DEMO_ARTWORK_ID, query, shelved), small, PROOF_PX)

    def coded() -> None:
        Image.open(io.BytesIO(drawn)).save(io.BytesIO(), "PNG")

    beside = "decoding and encoding the finished proof (Pillow)"
    for name, work in zip(names, (at_hand, from_file), strict=True):
        if only in name:
            yield _row(name, work, beside, coded, seconds)


def measure_refusals(seconds: float, only: str) -> Iterator[Row]:
    """A row of the drawing that takes longest to be refused, if its name holds ``only``."""
    if only not in "refused artwork drawings, worst":
        return
    drawings = {name: _drawing(body) for name, body in DRAWINGS.items()}
    worst = max(drawings, key=lambda name: timed(lambda: _refused(drawings[name])).processor_s)
    yield _row(
        f"refused artwork drawings, worst of {len(drawings)}: {worst}",
        lambda: _refused(drawings[worst]),
        "reading the same XML (standard library)",
        lambda: fromstring(drawings[worst]),  # noqa: S314 - it is ours
        seconds,
    )


def _drawing(body: str) -> bytes:
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10">{body}</svg>'.encode()


def _read(data: bytes) -> Picture:
    return read_picture(data, declared_media_type=None, max_pixels=NO_BOUND, max_bytes=NO_BOUND)


def _refused(data: bytes) -> None:
    with suppress(BadInput):
        _read(data)
        raise AssertionError("a drawing that should have been refused was taken")


def _row(
    what: str,
    ours: Callable[[], object],
    beside: str,
    baseline: Callable[[], object],
    seconds: float,
) -> Row:
    """Both in turn, by the clock; the first calls, which may fill caches, are not looked at."""
    ours()
    baseline()
    bursts: tuple[list[Burst], list[Burst]] = ([], [])
    ends_at = time.perf_counter() + seconds
    while len(bursts[0]) < LEAST_SAMPLES or (
        time.perf_counter() < ends_at and len(bursts[0]) < MOST_SAMPLES
    ):
        for work, burst in zip((ours, baseline), bursts, strict=True):
            burst.append(timed(work))
    return Row(
        what=what,
        ours=summarise(bursts[0]),
        beside=beside,
        baseline=summarise(bursts[1]),
        ratio=times_as_long(*bursts),
    )
