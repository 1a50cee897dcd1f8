"""The fuzzing tool runs, repeats itself and finds nothing in a few files."""

from __future__ import annotations

import pytest

from tests.fuzz.__main__ import main
from tests.fuzz.mutations import mutated
from tests.fuzz.running import Tally
from tests.fuzz.seeds import KINDS


def test_a_few_files_of_a_kind(capsys: pytest.CaptureFixture[str]) -> None:
    """Files are read in a child process, every one is counted, and none is bad."""
    assert main(["--count", "12", "--seed", "1", "--kind", "svg"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("svg: 12 files")
    assert sum(int(line.split()[0]) for line in lines[1:]) == 12


@pytest.mark.parametrize("kind", KINDS)
def test_a_number_gives_the_same_file(kind: str) -> None:
    """The same seed and number make the same bytes, and other numbers make others."""
    files = [mutated(kind, 3, number) for number in range(20)]
    assert files == [mutated(kind, 3, number) for number in range(20)]
    assert len(set(files)) > 15


def test_what_counts_as_bad() -> None:
    """What escapes, crashes or takes over a second is bad; a refusal is not."""
    tally = Tally()
    tally.note(1, "picture-unreadable", 0.1)
    assert tally.bad == []
    tally.note(2, "escaped:KeyError", 0.1)
    tally.note(3, "crashed:-11", 0.1)
    tally.note(4, "accepted", 1.1)
    assert len(tally.bad) == 3
