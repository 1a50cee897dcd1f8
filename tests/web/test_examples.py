"""Example files."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import service
from service.web.examples import Example, examples_folder, load_examples


def test_files_are_read_in_order(tmp_path: Path) -> None:
    """Every file becomes an example; what is left out is None or empty."""
    least = {"name": "b", "summary": "B", "request": {"method": "get", "path": "/x"}}
    (tmp_path / "2.json").write_text(json.dumps({**least, "answer": {"status": 200}}))
    full = {
        "name": "a",
        "summary": "A",
        "request": {"method": "POST", "path": "/y", "headers": {"k": "v"}, "body": [1]},
        "answer": {"status": 201, "body": {"c": 2}},
    }
    (tmp_path / "1.json").write_text(json.dumps(full))
    (tmp_path / "note.txt").write_text("no example")
    assert load_examples(tmp_path) == [
        Example("a", "A", "POST", "/y", 201, {"k": "v"}, [1], {"c": 2}),
        Example("b", "B", "GET", "/x", 200),
    ]


@pytest.mark.parametrize(
    "content", ["", "[]", "{}", '{"name":"a","summary":"b","request":{},"answer":{"status":1}}']
)
def test_other_files_are_named(tmp_path: Path, content: str) -> None:
    """A file of another form is an error with its name."""
    (tmp_path / "odd.json").write_text(content)
    with pytest.raises(ValueError, match=r"odd\.json"):
        load_examples(tmp_path)


def test_folder_lies_beside_or_in_the_package() -> None:
    """In a checkout the folder stands beside the package."""
    folder = examples_folder()
    assert folder is not None
    assert folder.name == "openapi_examples"
    assert Path(service.__file__).parent.parent in folder.parents
