"""Strict reading of YAML.

Expected values follow the core schema and the syntax of YAML 1.2.2 (chapters 5 and 10.3; from
memory), narrowed as the reader's docstring says.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from service.catalogue import yaml_reader
from service.catalogue.yaml_reader import MAX_BYTES, MAX_DEPTH, read_yaml


@pytest.fixture(params=["the C parser", "the Python parser"], autouse=True)
def _both_parsers(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every reading test holds for both parsers that PyYAML brings."""
    if request.param == "the Python parser":
        monkeypatch.setattr(yaml_reader, "_LOADER", yaml.SafeLoader)


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("true", True),
        ("false", False),
        ("True", "True"),
        ("no", "no"),
        ("on", "on"),
        ("yes", "yes"),
        ("y", "y"),
        ("~", None),
        ("null", None),
        ("", None),
        ("12", 12),
        ("-7", -7),
        ("007", 7),
        ("1_000", "1_000"),
        ("0x1F", "0x1F"),
        ("12:30", "12:30"),
        ("2026-12-24", "2026-12-24"),
        (".nan", ".nan"),
        (".inf", ".inf"),
        ("'12'", "12"),
        ('"true"', "true"),
        ("<<", "<<"),
    ],
)
def test_scalars_are_what_they_look_like(written: str, value: object) -> None:
    """Only true and false are booleans, only decimal digits are numbers, the rest is text."""
    document = read_yaml(f"a: {written}\n".encode())
    assert document.faults == ()
    assert document.data == {"a": value}
    assert isinstance(document.data, dict)
    assert type(document.data["a"]) is type(value)


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("0.105", "0.105"),
        ("2.60", "2.60"),
        ("1e3", "1E+3"),
        ("-1.5E-2", "-0.015"),
        (".5", "0.5"),
        ("0.1000000000000000055", "0.1000000000000000055"),
    ],
)
def test_decimals_are_exact(written: str, value: str) -> None:
    """A number with a point or an exponent is the Decimal that is written, digit for digit."""
    data = read_yaml(f"a: {written}".encode()).data
    assert isinstance(data, dict)
    number = data["a"]
    assert isinstance(number, Decimal)
    assert str(number) == value


def test_names_are_text_whatever_they_look_like() -> None:
    """A name such as 2XL, 12, true or no stays text, as in JSON."""
    assert read_yaml(b"{12: 1, true: 2, no: 3, 2XL: 4}").data == {
        "12": 1,
        "true": 2,
        "no": 3,
        "2XL": 4,
    }


def test_every_path_has_its_line() -> None:
    """Lines count from 1: that of its name in a mapping, of its own beginning in a list."""
    document = read_yaml(b"# first\na:\n  - x\n  - {b: 1,\n     c: 2}\n")
    assert document.lines[("a",)] == 2
    assert document.lines[("a", 0)] == 3
    assert document.lines[("a", 1)] == 4
    assert document.lines[("a", 1, "c")] == 5


def test_a_name_written_twice_is_a_fault_and_keeps_the_first() -> None:
    """The second of two equal names is refused with both lines, and the rest is still read."""
    document = read_yaml(b"a: 1\nb: 2\na: {c: 3}\nd: 4\n")
    assert document.data == {"a": 1, "b": 2, "d": 4}
    (fault,) = document.faults
    assert (fault.line, fault.path) == (3, ("a",))
    assert "written twice, first on line 1" in fault.message


def test_an_alias_bomb_stays_small() -> None:
    """Nine levels of nine aliases each, 387 million values elsewhere, are refused one by one."""
    rows = ["a0: &a0 [x, x, x, x, x, x, x, x, x]"]
    rows += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]" for n in range(1, 10)]
    document = read_yaml("\n".join(rows).encode())
    assert len(document.lines) == 1 + 10 + 90
    assert sum("alias" in fault.message for fault in document.faults) == 81
    assert sum("anchor" in fault.message for fault in document.faults) == 10


@pytest.mark.parametrize(
    ("source", "line", "says"),
    [
        (b"a: !!python/object:os.system x", 1, "tags are not read"),
        (b"b: 1\na: !!str 12", 2, "tags are not read"),
        (b"a: !made [1]", 1, "tags are not read"),
        (b"a: 1\n---\nb: 2", 2, "second document"),
        (b"a: [1, 2\nb: 3", 2, "not readable as YAML"),
        (b"a: 1\n\tb: 2", 2, "not readable as YAML"),
        (b"a: 1\n? [b]\n: 2", 2, "plain text"),
        (b"a: 1\nb: \xff", 2, "UTF-8"),
        (b"a: 1\nb: \x07", 2, "U+0007"),
        (b'a: "\\0"', 1, "control character"),
        (b"a: 1e999999999", 1, "exponent"),
        (b"a: " + b"1" * 41, 1, "40 characters"),
        (b"[" * (MAX_DEPTH + 2), 1, f"more than {MAX_DEPTH} levels"),
        (b"#" * (MAX_BYTES + 1), None, f"larger than {MAX_BYTES} bytes"),
    ],
    ids=lambda value: repr(value)[:24],
)
def test_traps_are_named_with_their_line(source: bytes, line: int | None, says: str) -> None:
    """What may not be read is a fault at its line, and never an exception."""
    (fault, *_) = read_yaml(source).faults
    assert fault.line == line
    assert says in fault.message


def test_the_number_of_values_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    """A small file of many tiny values stops at the bound."""
    monkeypatch.setattr(yaml_reader, "MAX_VALUES", 100)
    document = read_yaml(b"- 1\n" * 200)
    (fault,) = document.faults
    assert (fault.line, fault.message) == (100, "more than 100 values in one file")
    assert not document.complete


def test_an_empty_file_reads_as_nothing() -> None:
    """No document at all is None, without a fault of reading."""
    assert read_yaml(b"# only a comment\n").data is None
    assert read_yaml(b"").faults == ()


_plain = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**15), 10**15)
    | st.text("ab -:#'\"\n é€", max_size=9),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.text("abc12", min_size=1, max_size=4), inner, max_size=4)
    ),
    max_leaves=12,
)


@given(_plain)
def test_what_a_writer_of_yaml_writes_is_read_back(value: object) -> None:
    """Plain data written by PyYAML's own safe writer reads back as itself."""
    written = yaml.safe_dump({"v": value}, allow_unicode=True)
    document = read_yaml(written.encode())
    assert document.faults == ()
    assert document.data == {"v": value}


@given(st.binary(max_size=200) | st.text("ab:-[]{}&*!|>'\"#%@`,?\n\t ~0.e", max_size=80))
def test_no_bytes_raise(source: bytes | str) -> None:
    """Whatever the bytes, reading gives a document, and says so when it is not whole."""
    document = read_yaml(source if isinstance(source, bytes) else source.encode())
    assert document.complete or document.faults
