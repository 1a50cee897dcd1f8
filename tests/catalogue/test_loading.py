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
from tests.catalogue.shape_faults import SHAPE_FAULTS
from tests.catalogue.workroom import WORKROOM, edited, faults_of, line_of


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


# Names that mean the same: Regulation (EU) No 1007/2011, Annex I, and 16 CFR 303.7.
@pytest.mark.parametrize(
    ("written", "generic"),
    [
        ("spandex", "elastane"),
        ("Rayon", "viscose"),
        ("rayon (modal)", "modal"),
        ("rayon (cupro)", "cupro"),
        ("nylon", "polyamide"),
        ("olefin", "polypropylene"),
        ("PLA", "polylactide"),
        ("vinyon", "chlorofibre"),
        ("flax", "linen"),
        ("Cotton", "cotton"),
    ],
)
def test_a_fibre_name_of_elsewhere_is_answered_with_the_generic_name(
    written: str, generic: str, tmp_path: Path
) -> None:
    """A catalogue that writes another generic name is told the one to write."""
    (fault,) = faults_of(tmp_path, edited(("fibre: cotton", f"fibre: {written}")))
    assert fault.pointer == "/blanks/0/fibre_content/1/fibre"
    assert f"write '{generic}'" in fault.message


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
    assert len(closures) == 11


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


@settings(max_examples=25, deadline=None)
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
