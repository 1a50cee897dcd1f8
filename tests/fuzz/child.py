"""The process in which mutated files are read: bounded memory, warnings are errors.

    python -W error -m tests.fuzz.child KIND SEED FIRST LAST

Prints ``begin NUMBER`` ahead of each file and ``end NUMBER OUTCOME SECONDS`` (of processor) after.
"""

from __future__ import annotations

import resource
import sys
import time

from service.domain.errors import BadInput
from service.intake.pictures import read_picture
from tests.fuzz.mutations import mutated

MAX_PIXELS = 100_000
MAX_BYTES = 2_000_000
MEMORY_BYTES = 1_500_000_000


def outcome(data: bytes) -> str:
    """``accepted``, the code of the refusal, or ``escaped:`` and the name of what escaped."""
    try:
        picture = read_picture(
            data, declared_media_type=None, max_pixels=MAX_PIXELS, max_bytes=MAX_BYTES
        )
    except BadInput as refused:
        return refused.faults[0].code
    except BaseException as escaped:  # noqa: BLE001 - whatever escapes is what is looked for
        return f"escaped:{type(escaped).__name__}"
    sound = picture.rgba.shape == (picture.height_px, picture.width_px, 4)
    return "accepted" if sound and picture.rgba[..., 3].any() else "escaped:odd-picture"


def main(kind: str, seed: int, first: int, last: int) -> None:
    """Read the files of those numbers, the last one not included."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    for number in range(first, last):
        sys.stdout.write(f"begin {number}\n")
        sys.stdout.flush()
        data = mutated(kind, seed, number)
        started = time.process_time()
        told = outcome(data)
        sys.stdout.write(f"end {number} {told} {time.process_time() - started:.4f}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main(sys.argv[1], *map(int, sys.argv[2:5]))
