"""Loading: every fault of shape at once with file, line and pointer; versions that never waver."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from decimal import Decimal
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.catalogue.faults import CatalogueFault, CatalogueFaults, format_faults, json_pointer
from service.catalogue.loading import (
    catalogue_from_json,
    demo_shop_path,
    document_of,
    load_catalogue,
)
from tests.catalogue.workroom import WORKROOM, edited, faults_of, line_of

FILM_COLOURS = """\
    colours:
      - {id: white, name: White, srgb: "#f6f6f4"}
      - {id: black, name: Black, srgb: "#1a1a1c"}
"""

# name: (old, new, snippet on the fault's line, pointer, words)
SHAPE_FAULTS: dict[str, tuple[str, str, str, str, str]] = {
    "missing": (
        ", cost: 2.60",
        "",
        "{size: S, half_chest_mm: 457",
        "/blanks/0/sizes/0/cost",
        "'cost' is missing",
    ),
    "unknown name": (
        "drop_mm: 65",
        "drop_mm: 65\n        drop_cm: 6",
        "drop_cm",
        "/blanks/0/placements/0/drop_cm",
        "'drop_cm' is not a name known here",
    ),
    "unknown top-level name": (
        "printers:",
        "printer_list: 3\nprinters:",
        "printer_list",
        "/printer_list",
        "'printer_list' is not a name known here",
    ),
    "fibre sum": (
        "percent: 35",
        "percent: 30",
        "fibre_content:",
        "/blanks/0/fibre_content",
        "fibre percentages sum to 95, not to 100",
    ),
    "fibre name of the US": (
        "fibre: cotton",
        "fibre: Nylon",
        "fibre: Nylon",
        "/blanks/0/fibre_content/1/fibre",
        "'Nylon' is not the generic name used here: write 'polyamide'",
    ),
    "fibre name misspelt": (
        "fibre: cotton",
        "fibre: coton",
        "fibre: coton",
        "/blanks/0/fibre_content/1/fibre",
        "did you mean 'cotton'?",
    ),
    "fibre name unknown": (
        "fibre: cotton",
        "fibre: moonsilver",
        "moonsilver",
        "/blanks/0/fibre_content/1/fibre",
        "'moonsilver' is not known here: it must be one of 'cotton', 'linen'",
    ),
    "window upside down": (
        "temp_min_c: 150, temp_max_c: 165",
        "temp_min_c: 165, temp_max_c: 150",
        "press: {temp_min_c: 165",
        "/media/0/press",
        "press window is upside down",
    ),
    "film without surface colour": (
        FILM_COLOURS,
        "",
        "  - id: film",
        "/media/0",
        "needs at least one surface colour",
    ),
    "size twice": (
        "size: M, half_chest_mm: 508",
        "size: S, half_chest_mm: 508",
        "  - id: blend-tee",
        "/blanks/0",
        "size listed twice: S",
    ),
    "breaks that overlap": (
        "from_pieces: 24",
        "from_pieces: 1",
        "breaks:",
        "/prices/breaks",
        "quantity breaks overlap: 1 follows 1",
    ),
    "breaks with a gap below": (
        "from_pieces: 1,",
        "from_pieces: 2,",
        "breaks:",
        "/prices/breaks",
        "the first quantity break must start from 1 piece",
    ),
    "negative margin": (
        "margin_share: 0.35",
        "margin_share: -0.1",
        "margin_share",
        "/prices/margin_share",
        "must be at least 0, not -0.1",
    ),
    "whole margin": (
        "margin_share: 0.35",
        "margin_share: 1",
        "margin_share",
        "/prices/margin_share",
        "must be less than 1, not 1",
    ),
    "too heavy": (
        "weight_g_m2: 150",
        "weight_g_m2: 1500",
        "weight_g_m2",
        "/blanks/0/weight_g_m2",
        "must be at most 1000, not 1500",
    ),
    "no thickness": (
        "thickness_um: 80",
        "thickness_um: 0",
        "thickness_um",
        "/media/0/thickness_um",
        "must be more than 0, not 0",
    ),
    "too many decimals": (
        "0.105",
        "0.1050001",
        "0.1050001",
        "/prices/consumables_per_piece",
        "may have at most 5 decimal places, not 0.1050001",
    ),
    "no number": (
        "gap_mm: 4",
        "gap_mm: wide",
        "gap_mm: wide",
        "/media/0/gap_mm",
        "must be a number written without quotes, not 'wide'",
    ),
    "not a number": (
        "gap_mm: 4",
        "gap_mm: nan",
        "gap_mm: nan",
        "/media/0/gap_mm",
        "must be a finite number, not 'nan'",
    ),
    "half a day": (
        "supplier_lead_days: 2",
        "supplier_lead_days: 2.5",
        "supplier_lead_days: 2.5",
        "/media/0/supplier_lead_days",
        "must be a whole number written without quotes, not 2.5",
    ),
    "number in quotes": (
        "gap_mm: 4",
        "gap_mm: '4'",
        "gap_mm: '4'",
        "/media/0/gap_mm",
        "must be a number written without quotes, not '4'",
    ),
    "true for a number": (
        "gap_mm: 4",
        "gap_mm: true",
        "gap_mm: true",
        "/media/0/gap_mm",
        "must be a number written without quotes, not true",
    ),
    "true for a weekday": (
        "[0, 1, 2, 3, 4]",
        "[0, true, 2, 3, 4]",
        "working_weekdays",
        "/calendar/working_weekdays/1",
        "must be a number written without quotes, not true",
    ),
    "yes for true": (
        "invented: true",
        "invented: yes",
        "invented",
        "/shop/invented",
        "must be true or false, not 'yes'",
    ),
    "number for a time": (
        'cut_off: "12:00"',
        "cut_off: 720",
        "cut_off",
        "/calendar/cut_off",
        "must be text in quotes, not 720",
    ),
    "no time": (
        'cut_off: "12:00"',
        'cut_off: "noon"',
        "cut_off",
        "/calendar/cut_off",
        "must be a time of day in quotes, as in '12:00', not 'noon'",
    ),
    "no date": (
        "2026-12-31",
        "2026-02-30",
        "closures",
        "/calendar/closures/1",
        "must be a date as in 2026-12-24, not '2026-02-30'",
    ),
    "no time zone": (
        "Europe/Berlin",
        "Middle/Earth",
        "time_zone",
        "/calendar/time_zone",
        "no such time zone: 'Middle/Earth'",
    ),
    "no working day": (
        "[0, 1, 2, 3, 4]",
        "[]",
        "working_weekdays",
        "/calendar/working_weekdays",
        "needs at least 1 entries, not a list",
    ),
    "number for text": (
        '"9521234001010"',
        "9521234001010",
        "S: 9521234001010",
        "/blanks/0/colours/0/gtins/S",
        "must be text; put it in quotes if it looks like a number, not 9521234001010",
    ),
    "no identifier": (
        "id: blend-tee",
        "id: Blend Tee",
        "id: Blend Tee",
        "/blanks/0/id",
        "must be lower-case words and digits joined by single hyphens, not 'Blend Tee'",
    ),
    "no colour": (
        '"#f7f7f5"',
        "#f7f7f5",
        "name: White\n        srgb",
        "/blanks/0/colours/0/srgb",
        "must be text; put it in quotes if it looks like a number, not nothing",
    ),
    "short colour": (
        '"#f7f7f5"',
        '"#fff"',
        '"#fff"',
        "/blanks/0/colours/0/srgb",
        "must be an sRGB colour in quotes, as in '#1f2a44', not '#fff'",
    ),
    "unknown style": (
        "style: tee",
        "style: tees",
        "style: tees",
        "/blanks/0/style",
        "'tees' is not known here: did you mean 'tee'?",
    ),
    "number for a choice": (
        "style: tee",
        "style: 3",
        "style: 3",
        "/blanks/0/style",
        "must be one of 'tee', 'long_sleeve'",
    ),
    "list for a mapping": (
        "care: {wash_c: 40, iron_dots: 2}",
        "care: [40, 2]",
        "care: [40",
        "/blanks/0/care",
        "must be a mapping of names to values, not a list",
    ),
    "mapping for a list": (
        "bonds_to: [cotton, polyester]",
        "bonds_to: {cotton: 1}",
        "bonds_to",
        "/media/0/bonds_to",
        "must be a list, not a mapping",
    ),
    "size name in a mapping": (
        "S: {width_mm: 270",
        '"S+": {width_mm: 270',
        '"S+"',
        "/blanks/0/placements/0/areas/S+",
        "must be a size of up to 16 letters",
    ),
    "print that does not state mirrored": (
        "medium: paper, mirrored: true,",
        "medium: paper,",
        "{kind: print",
        "/methods/1/operations/0",
        "must state mirrored",
    ),
    "same name twice": (
        "    carrier: true",
        "    carrier: true\n    carrier: false",
        "    carrier: false",
        "/media/0/carrier",
        "'carrier' is written twice, first on line",
    ),
    "alias": (
        "name: Paper",
        "name: *name",
        "*name",
        "/media/1/name",
        "alias *name",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", SHAPE_FAULTS)
def test_each_fault_is_told_where_it_stands(name: str, tmp_path: Path) -> None:
    """One fault in a sound file gives exactly one message, with the right line and pointer."""
    old, new, snippet, pointer, words = SHAPE_FAULTS[name]
    text = edited((old, new))
    (fault,) = faults_of(tmp_path, text)
    assert fault.pointer == pointer
    assert words in fault.message
    line = line_of(text, snippet) + snippet.count("\n")
    assert fault.line == line


def test_all_faults_are_told_at_once_in_order_of_line(tmp_path: Path) -> None:
    """Many faults of one file come in one list, and never with a name from the program."""
    names = ["no time zone", "negative margin", "no thickness", "unknown style", "missing"]
    text = edited(*(SHAPE_FAULTS[name][:2] for name in names))
    faults = faults_of(tmp_path, text)
    assert [fault.pointer for fault in faults] == [SHAPE_FAULTS[name][3] for name in names]


def test_no_message_repeats_a_name_of_the_program(tmp_path: Path) -> None:
    """Everything of the wrong kind everywhere: plain words only."""
    sections = [line.partition(":")[0] for line in WORKROOM.splitlines() if line[0].isalpha()]
    for value in ("[1]", "{x: 1}", "1", "true", "text", "", "[{x: 1}]", "[[2]]"):
        text = "".join(f"{section}: {value}\n" for section in sections)
        told = format_faults(faults_of(tmp_path, text))
        for word in ("instance", "Catalogue", "Blank", "Medium", "Frozen", "Input", "pydantic"):
            assert word not in told


def test_faults_print_as_file_line_pointer_message() -> None:
    """One line a fault, without the parts that are not known, and with no line break inside."""
    faults = [
        CatalogueFault("shop.yaml", 7, "/prices/currency", "no such\n  money"),
        CatalogueFault("folder", None, "", "the folder holds no *.yaml file"),
    ]
    assert format_faults(faults) == (
        "shop.yaml:7: /prices/currency: no such money\nfolder: the folder holds no *.yaml file"
    )


def test_pointers_escape_as_rfc_6901_says() -> None:
    """Section 5 of RFC 6901: ``/a~1b`` points at "a/b" and ``/m~0n`` at "m~n"."""
    assert json_pointer(("a/b",)) == "/a~1b"
    assert json_pointer(("m~n", 0)) == "/m~0n/0"
    assert json_pointer(()) == ""


def test_a_folder_is_read_as_one_document(tmp_path: Path) -> None:
    """Split over files by top-level names, the same catalogue has the same version."""
    head, tail = WORKROOM.split("media:\n")
    (tmp_path / "one.yaml").write_text(head)
    (tmp_path / "two.yaml").write_text(f"# after\nmedia:\n{tail}")
    whole = tmp_path / "whole" / "workroom.yaml"
    whole.parent.mkdir()
    whole.write_text(WORKROOM)
    assert load_catalogue(tmp_path) == load_catalogue(whole)


def test_faults_of_a_folder_name_their_file(tmp_path: Path) -> None:
    """A name in two files, a fault in each, and a stray ending are told with the file's name."""
    head, tail = edited(("EUR", "EURO"), ("iron_dots: 1", "iron_dots: 4")).split("media:\n")
    (tmp_path / "a.yaml").write_text(head)
    (tmp_path / "b.yaml").write_text(f"media:\n{tail}plotters: []\n")
    (tmp_path / "c.yml").write_text("shop: {}\n")
    with pytest.raises(CatalogueFaults) as refused:
        load_catalogue(tmp_path)
    told = {(Path(f.file).name, f.line, f.pointer) for f in refused.value.faults}
    second = f"media:\n{tail}plotters: []\n"
    assert told == {
        ("a.yaml", line_of(head, "EURO"), "/prices/currency"),
        ("b.yaml", line_of(second, "iron_dots: 4"), "/media/0/iron_dots"),
        ("b.yaml", line_of(second, "plotters: []"), "/plotters"),
        ("c.yml", None, ""),
    }


def test_one_unreadable_file_does_not_hide_the_others(tmp_path: Path) -> None:
    """Names that an unreadable file would have held are not called missing."""
    head, tail = edited(("EUR", "EURO")).split("media:\n")
    (tmp_path / "a.yaml").write_text(head)
    (tmp_path / "b.yaml").write_text(f"media:\n{tail}  ]")
    with pytest.raises(CatalogueFaults) as refused:
        load_catalogue(tmp_path)
    first, second = refused.value.faults
    assert first.pointer == "/prices/currency"
    assert "not readable as YAML" in second.message


@pytest.mark.parametrize("make", ["nothing", "empty folder", "folder.yaml", "empty", "list"])
def test_what_is_no_catalogue_is_one_fault(make: str, tmp_path: Path) -> None:
    """A path that is not there, an empty folder or file, or a list: one plain fault."""
    path = tmp_path / "shop.yaml"
    if make == "empty folder":
        path = tmp_path
    elif make == "folder.yaml":
        path.mkdir()
        path = tmp_path
    elif make != "nothing":
        path.write_text({"empty": "", "list": "- 1\n"}[make])
    with pytest.raises(CatalogueFaults) as refused:
        load_catalogue(path)
    assert len(refused.value.faults) == 1


def test_money_and_percentages_are_exact(tmp_path: Path) -> None:
    """Decimals keep the digits as written, from file to value to stored text."""
    file = tmp_path / "shop.yaml"
    file.write_text(
        edited(("polyester, percent: 65", "polyester, percent: 65.00"), ("2.60", "0.30001"))
    )
    loaded = load_catalogue(file)
    blank = loaded.catalogue.blanks[0]
    assert str(blank.fibre_content.shares[0].percent) == "65.00"
    assert blank.sizes[0].cost == Decimal("0.30001")
    assert loaded.catalogue.prices.consumables_per_piece == Decimal("0.105")
    assert '"cost":"0.30001"' in loaded.document_json


def test_a_stored_version_gives_back_the_same_catalogue() -> None:
    """From stored text to value and back: equal value, same text, same hash."""
    loaded = load_catalogue(demo_shop_path())
    rebuilt = catalogue_from_json(loaded.document_json)
    assert rebuilt == loaded.catalogue
    assert document_of(rebuilt) == loaded.document_json
    assert hashlib.sha256(loaded.document_json.encode()).hexdigest() == loaded.version


def test_a_stored_version_loads_as_a_file_too(tmp_path: Path) -> None:
    """JSON is YAML: the stored text, put in a file, gives the same version again."""
    loaded = load_catalogue(demo_shop_path())
    file = tmp_path / "stored.yaml"
    file.write_text(loaded.document_json, encoding="utf-8")
    assert load_catalogue(file) == loaded


def test_the_stored_text_is_canonical() -> None:
    """Names sorted, no blanks between tokens, sets sorted; the order of keys in files is free."""
    loaded = load_catalogue(demo_shop_path())
    document = json.loads(loaded.document_json)
    assert loaded.document_json == json.dumps(
        document, sort_keys=True, separators=(",", ":"), ensure_ascii=False
    )
    closures = document["calendar"]["closures"]
    assert closures == sorted(closures)
    assert len(closures) == 17


def test_the_version_is_the_same_in_every_process() -> None:
    """Hash seeds of Python, which order sets, do not change a version."""
    script = (
        "from service.catalogue.loading import load_catalogue, demo_shop_path;"
        "print(load_catalogue(demo_shop_path()).version)"
    )
    running = [
        subprocess.Popen(  # noqa: S603 - this interpreter and a fixed script
            [sys.executable, "-c", script],
            env={**os.environ, "PYTHONHASHSEED": seed},
            stdout=subprocess.PIPE,
            text=True,
        )
        for seed in ("1", "2024")
    ]
    versions = {process.communicate(timeout=60)[0].strip() for process in running}
    assert versions == {load_catalogue(demo_shop_path()).version}


def test_a_stored_version_that_no_longer_fits_is_refused() -> None:
    """A document that this program cannot use is told with pointers, not half taken."""
    with pytest.raises(CatalogueFaults) as refused:
        catalogue_from_json('{"shop": {"name": "Old"}}')
    assert "/shop/invented" in {fault.pointer for fault in refused.value.faults}
    with pytest.raises(CatalogueFaults, match="stored version: must be JSON"):
        catalogue_from_json('{"shop": ')


_SNIPPETS = ["", ":", "- ", "[", "}", "true", "~", "-1", "1e9", "*a", "&a ", "!!x ", "'", '"', "\t",
             "é", "\x00", "\n", "  ", "cotton", "2XL", "0.5", "null"]  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(
    cuts=st.lists(
        st.tuples(st.integers(0, len(WORKROOM)), st.integers(0, 60), st.sampled_from(_SNIPPETS)),
        min_size=1,
        max_size=3,
    )
)
def test_a_damaged_file_is_loaded_or_refused(cuts: list[tuple[int, int, str]]) -> None:
    """Whatever is cut out of a file or put in, loading gives a catalogue or its faults."""
    text = WORKROOM
    for start, length, put in cuts:
        text = text[:start] + put + text[start + length :]
    with TemporaryDirectory() as folder:
        for fault in faults_of(Path(folder), text):
            assert fault.message
            assert fault.line is None or 1 <= fault.line <= text.count("\n") + 1


_values = st.sampled_from(
    [None, True, 0, -1, 10**9, 0.5, "", "x", "white", "2026-01-01", [], [1], {}, {"x": 1}]
)


@pytest.fixture(scope="module")
def demo_text() -> str:
    """The demonstration shop as one JSON text."""
    return load_catalogue(demo_shop_path()).document_json


@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_a_demo_document_with_a_value_exchanged_is_loaded_or_refused(
    demo_text: str, data: st.DataObject
) -> None:
    """Any value of the demonstration shop exchanged for any other ends in faults or a catalogue."""
    document = json.loads(demo_text)
    node = document
    while isinstance(node, dict | list) and node:
        names = sorted(node) if isinstance(node, dict) else range(len(node))
        name = data.draw(st.sampled_from(names))
        inner = node[name]
        if not isinstance(inner, dict | list) or not inner or data.draw(st.integers(0, 4)) == 0:
            node[name] = data.draw(_values)
            break
        node = inner
    with TemporaryDirectory() as folder:
        faults_of(Path(folder), json.dumps(document))
