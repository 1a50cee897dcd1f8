"""Mutate pictures, read each in a bounded child process, and count what becomes of them.

    python -m tests.fuzz --count 4000 --seed 1              4000 files of every kind
    python -m tests.fuzz --count 500 --seed 1 --kind svg    of one kind

Prints a table and ends with 1 if anything but a refusal escaped, a process crashed, or a file took
more than a second (an accepted drawing: three). The same seed gives the same files.
"""

from __future__ import annotations

import argparse
import sys

from tests.fuzz.running import run_kind
from tests.fuzz.seeds import KINDS


def say(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def main(arguments: list[str]) -> int:
    """Run and print; the exit code."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--count", type=int, default=200, help="files of each kind")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kind", choices=KINDS)
    told = parser.parse_args(arguments)
    bad = 0
    for kind in [told.kind] if told.kind else KINDS:
        tally = run_kind(kind, told.seed, told.count)
        say(f"{kind}: {told.count} files, seed {told.seed}, longest {tally.longest_s:.3f} s")
        for outcome, count in sorted(tally.outcomes.items(), key=lambda each: -each[1]):
            say(f"    {count:>7}  {outcome}")
        for each in tally.bad[:20]:
            say(f"    BAD: file {each}")
        bad += len(tally.bad)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
