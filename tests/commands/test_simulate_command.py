"""``garment-intake simulate``, called as a person would call it."""

from __future__ import annotations

import re
import shutil
from datetime import date, timedelta
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
import yaml
from scipy.stats import binom

from service.catalogue.loading import demo_shop_path
from service.cli import main

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Pictures go where the command is called."""
    monkeypatch.chdir(tmp_path)


def _told(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(["simulate", *arguments]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out


def test_a_month_is_told_and_drawn(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The thirds are all the orders, and the picture says in words and bars what was kept."""
    out = _told(capsys, "--days", "30", "--seed", "3", "--picture", "year.svg")
    assert out.startswith("Quillmoor Lane Press Room (an invented shop): 30 simulated days from")
    assert out.endswith("load picture written to year.svg\n")
    orders = int(re.findall(r"^(\d+) orders, \d+ tickets", out, re.MULTILINE)[0])
    every, *thirds = re.findall(
        r"^(?:all|\w+ load, [\d.]+-[\d.]+) +(\d+) +([\d.]+)%", out, re.MULTILINE
    )
    assert int(every[0]) == sum(int(count) for count, _ in thirds) == orders > 30
    kept = [round(int(count) * float(share) / 100) for count, share in (every, *thirds)]
    assert kept[0] == sum(kept[1:])
    picture = ET.parse(tmp_path / "year.svg").getroot()  # noqa: S314 - our own
    assert picture.tag == f"{SVG}svg"
    title, said = picture.findtext(f"{SVG}title"), picture.findtext(f"{SVG}desc")
    assert (
        title == "Quillmoor Lane Press Room: a simulated year of promises and loads, week by week"
    )
    assert said is not None
    assert re.match(r"Of \d+ promises \d+ were kept, [\d.]+%; the target is 90%\.", said)
    assert "Heat press worked" in said
    bars = [rect for rect in picture.iter(f"{SVG}rect") if rect.find(f"{SVG}title") is not None]
    assert len(bars) > 20
    assert all(0 <= float(rect.get("height", "-1")) <= 52 for rect in bars)


@pytest.mark.whole_year
def test_a_year_keeps_its_promises_at_every_load(capsys: pytest.CaptureFixture[str]) -> None:
    """What the shop aims at is kept, overall as near as chance lets it and in each third of loads.

    The band of chance is that of the binomial distribution (scipy.stats.binom); three points and
    the shorter days are aims of our own: no source.
    """
    out = _told(capsys, "--days", "365", "--seed", "1")
    every, *thirds = re.findall(
        r"^(?:all|\w+ load, [\d.]+-[\d.]+) +(\d+) +([\d.]+)%", out, re.MULTILINE
    )
    orders, kept = int(every[0]), float(every[1]) / 100
    low, high = binom.interval(0.99, orders, 0.9)
    assert low <= round(orders * kept) <= high
    assert len(thirds) == 3
    assert all(abs(float(share) - 90) <= 3 for _, share in thirds)
    (shorter,) = re.findall(r"^Promises are (\d+)% shorter", out, re.MULTILINE)
    assert int(shorter) >= 30


def test_a_closed_day_has_no_orders(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The first of January is a public holiday: nothing is ordered, and nothing divided by it."""
    out = _told(capsys, "--days", "1")
    assert "\n0 orders, 0 tickets" in out
    assert "nan" not in out
    assert (tmp_path / "load-year.svg").is_file()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--days", "0"], "a whole number from 1 to 1,095"),
        (["--days", "1096"], "a whole number from 1 to 1,095"),
        (["--days", "-5"], "a whole number from 1 to 1,095"),
        (["--days", "9" * 5_000], "a whole number from 1 to 1,095"),
        (["--days", "ten"], "a whole number from 1 to 1,095"),
        (["--seed", "-1"], "a whole number from 0 to 4,294,967,295"),
        (["--seed", "4294967296"], "a whole number from 0 to 4,294,967,295"),
    ],
)
def test_numbers_out_of_bounds(
    arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """They are refused as wrongly called, with the bounds."""
    with pytest.raises(SystemExit) as ended:
        main(["simulate", *arguments])
    assert ended.value.code == 2
    assert words in capsys.readouterr().err


@pytest.mark.parametrize("picture", [".", "nowhere/year.svg"])
def test_a_picture_that_cannot_be_written(picture: str, capsys: pytest.CaptureFixture[str]) -> None:
    """It is said before a year is played."""
    assert main(["simulate", "--picture", picture]) == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert "give a file in a folder that exists" in err


def test_a_shop_whose_station_stands_still(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The heat press is down from the second week on, for two years: refused, not endless."""
    folder = tmp_path / "shop"
    shutil.copytree(demo_shop_path(), folder)
    file = folder / "shop.yaml"
    shop = yaml.safe_load(file.read_text(encoding="utf-8"))
    down = (date(2027, 1, 11) + timedelta(days=n) for n in range(730))
    shop["calendar"]["station_days"] = [
        {"station": "pressing", "day": day, "minutes": 0, "why": "a test"} for day in down
    ]
    file.write_text(yaml.safe_dump(shop), encoding="utf-8")
    code = main(["simulate", str(folder), "--days", "30"])
    out, err = capsys.readouterr()
    assert (code, out) == (1, "")
    assert "The shop cannot make what is ordered" in err
