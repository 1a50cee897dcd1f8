"""The command line, called as a person would call it."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest

from service.catalogue.loading import demo_shop_path
from service.cli import main


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Commands keep their data in a folder of the test's own."""
    monkeypatch.setenv("GARMENT_DATA_DIR", str(tmp_path / "data"))
    monkeypatch.delenv("GARMENT_DATABASE_URL", raising=False)


def test_the_demo_shop_has_no_faults(capsys: pytest.CaptureFixture[str]) -> None:
    """Without a path the demo shop is checked."""
    assert main(["catalogue", "check"]) == 0
    assert "no faults" in capsys.readouterr().out


def test_every_fault_of_a_catalogue_is_listed_at_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two faults in two files are both printed with file and line, and the exit code is 1."""
    folder = tmp_path / "shop"
    shutil.copytree(demo_shop_path(), folder)
    for name, old, new in (
        ("blanks.yaml", "percent: 100", "percent: 99"),
        ("media.yaml", "temp_min_c: 150", "temp_min_c: 250"),
    ):
        file = folder / name
        file.write_text(file.read_text().replace(old, new, 1))
    assert main(["catalogue", "check", str(folder)]) == 1
    out = capsys.readouterr().out
    assert re.search(r"blanks\.yaml:\d+: .*sum to 99", out)
    assert re.search(r"media\.yaml:\d+: .*upside down", out)


def test_a_path_that_is_not_there_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    """A missing catalogue is a fault with its path, no traceback."""
    assert main(["catalogue", "check", "no/such/place"]) == 1
    assert "no/such/place" in capsys.readouterr().out


def test_a_key_is_made_listed_and_withdrawn(capsys: pytest.CaptureFixture[str]) -> None:
    """The secret is printed once; the list shows id, scope and holder, never the secret."""
    assert main(["keys", "add", "--holder", "my-storefront", "--scope", "storefront"]) == 0
    made = capsys.readouterr()
    secret, key_id = made.out.strip(), made.err.split(":")[0].strip()
    assert secret.startswith("gik_")
    assert main(["keys", "list"]) == 0
    listed = capsys.readouterr().out
    assert key_id in listed
    assert secret not in listed
    assert main(["keys", "withdraw", key_id]) == 0
    assert main(["keys", "list"]) == 0
    assert "withdrawn" in capsys.readouterr().out


def test_a_holder_that_cannot_be_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """A holder is lower-case words; anything else is refused with the field named."""
    assert main(["keys", "add", "--holder", "Not A Slug", "--scope", "staff"]) == 1
    assert "holder" in capsys.readouterr().err


def test_an_unknown_key_cannot_be_withdrawn(capsys: pytest.CaptureFixture[str]) -> None:
    """The id is named in what is printed."""
    assert main(["keys", "withdraw", "key_nobody"]) == 1
    assert "key_nobody" in capsys.readouterr().err


def test_migrate_brings_an_empty_store_to_the_head(capsys: pytest.CaptureFixture[str]) -> None:
    """Twice is as good as once."""
    assert main(["migrate"]) == 0
    assert capsys.readouterr().out.startswith("empty -> ")
    assert main(["migrate"]) == 0
    before, _, after = capsys.readouterr().out.strip().partition(" -> ")
    assert before == after


def test_openapi_prints_the_document(capsys: pytest.CaptureFixture[str]) -> None:
    """The document is OpenAPI 3.1 and needs no store."""
    assert main(["openapi"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["openapi"].startswith("3.1")
    assert "/v1/checks" in document["paths"]
    assert "order.accepted" in document["webhooks"]


def test_a_wrong_setting_is_named(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The environment variable and the limit are told, without a traceback."""
    monkeypatch.setenv("GARMENT_STORE_THREADS", "0")
    assert main(["migrate"]) == 1
    assert "GARMENT_STORE_THREADS" in capsys.readouterr().err


@pytest.mark.parametrize("arguments", [[], ["keys"], ["catalogue", "check", "--what"]])
def test_wrong_words_exit_with_2(arguments: list[str]) -> None:
    """A call that cannot be understood shows its usage."""
    with pytest.raises(SystemExit) as left:
        main(arguments)
    assert left.value.code == 2
