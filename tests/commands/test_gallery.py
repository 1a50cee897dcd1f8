"""``garment-intake gallery``, called as a person would call it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from PIL import Image

from service import gallery
from service.cli import main
from service.demo_artwork import DEMO_ARTWORKS

FEW = {"art_demo-beacon", "art_demo-glow"}


@pytest.fixture(autouse=True)
def _few_artworks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two of the demonstration artworks stand for all, for measuring takes a while."""
    few = tuple(one for one in DEMO_ARTWORKS if one.id in FEW)
    assert len(few) == len(FEW)
    monkeypatch.setattr(gallery, "DEMO_ARTWORKS", few)


def test_the_page_shows_every_picture(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Both artworks in a light and a dark colour, and refused ones for contrast."""
    folder = tmp_path / "look" / "here"
    assert main(["gallery", str(folder), "--px", "200", "--only", "cotton-tote"]) == 0
    page = (folder / "index.html").read_text(encoding="utf-8")
    files = {file.name for file in folder.glob("*.png")}
    assert set(re.findall(r'src="([^"]*)"', page)) == files
    for artwork in ("beacon", "glow"):
        for colour in ("natural", "black"):
            names = [name for name in files if name.startswith(f"cotton-tote-{colour}-{artwork}")]
            assert names, (colour, artwork)
    assert any(name.endswith("-refused.png") for name in files)
    for name in files:
        with Image.open(folder / name) as picture:
            assert picture.width == 200
    assert f"{len(files)} pictures" in capsys.readouterr().out


def test_the_page_loads_nothing_from_elsewhere(tmp_path: Path) -> None:
    """No address but those of its own files, and no script."""
    assert main(["gallery", str(tmp_path), "--px", "200", "--only", "non-woven-tote"]) == 0
    page = (tmp_path / "index.html").read_text(encoding="utf-8")
    assert "http" not in page
    assert "<script" not in page
    assert "not a guarantee" in page


def test_an_unknown_blank_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With the nearest one that is known; exit code 1, nothing written."""
    assert main(["gallery", str(tmp_path / "out"), "--only", "coton-tote"]) == 1
    assert "Did you mean 'cotton-tote'?" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("px", ["199", "2001", "many", "-5"])
def test_a_width_out_of_range_exits_with_2(
    tmp_path: Path, px: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """The usage says which are taken."""
    with pytest.raises(SystemExit) as left:
        main(["gallery", str(tmp_path), "--px", px])
    assert left.value.code == 2
    assert "200 to 2000" in capsys.readouterr().err


def test_a_folder_that_cannot_be_made_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file in its place is named, without a traceback."""
    (tmp_path / "file").write_text("in the way")
    assert main(["gallery", str(tmp_path / "file"), "--only", "cotton-tote"]) == 1
    assert "file" in capsys.readouterr().err
