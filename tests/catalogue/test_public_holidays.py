"""Public holidays: found when a catalogue is loaded, and kept with its version."""

from __future__ import annotations

import json
import subprocess
import sys
from datetime import date
from pathlib import Path

from service.catalogue.loading import catalogue_from_json, load_catalogue
from service.domain.calendar import is_working_day
from tests.catalogue.workroom import WORKROOM, edited

TODAY = date(2026, 3, 2)
CUT_OFF = 'cut_off: "12:00"'


def _file(folder: Path, holidays: str) -> Path:
    file = folder / "shop.yaml"
    file.write_text(edited((CUT_OFF, f"{CUT_OFF}\n  holidays: {holidays}")), encoding="utf-8")
    return file


def _days(path: Path, today: date) -> dict[date, str]:
    holidays = load_catalogue(path, today).catalogue.calendar.holidays
    assert holidays is not None
    return dict(holidays.days)


def test_the_years_around_the_day_of_loading_are_found(tmp_path: Path) -> None:
    """From the year before to the fifth after, each whole, and with names."""
    days = _days(_file(tmp_path, "{country: DE}"), TODAY)
    assert {day.year for day in days} == set(range(2025, 2032))
    assert days[date(2026, 4, 3)] == "Good Friday"
    assert list(days) == sorted(days)


def test_parts_of_a_country_have_holidays_of_their_own(tmp_path: Path) -> None:
    """Corpus Christi 2026, 4 June, is one in HE and not in BE.

    Source: the holiday laws of the two states, from memory.
    """
    corpus_christi = date(2026, 6, 4)
    for part, rests in (("HE", True), ("BE", False)):
        file = _file(tmp_path, f"{{country: DE, subdivision: {part}}}")
        assert (corpus_christi in _days(file, TODAY)) is rests
        calendar = load_catalogue(file, TODAY).catalogue.calendar
        assert is_working_day(calendar, corpus_christi) is not rests


def test_a_country_whose_letters_are_a_word_of_yaml_is_a_country(tmp_path: Path) -> None:
    """NO is Norway and no falsehood (YAML 1.2.2, core schema)."""
    assert date(2026, 5, 17) in _days(_file(tmp_path, "{country: NO}"), TODAY)


def test_the_same_year_gives_the_same_version(tmp_path: Path) -> None:
    """Within a year the version stays; in the next one it holds another year's holidays."""
    file = _file(tmp_path, "{country: US}")
    first = load_catalogue(file, TODAY)
    assert load_catalogue(file, date(2026, 12, 31)) == first
    assert load_catalogue(file, date(2027, 1, 1)).version != first.version


def test_a_stored_version_keeps_its_days(tmp_path: Path) -> None:
    """Read back years later, from the store or as a file, an old version answers as it did."""
    loaded = load_catalogue(_file(tmp_path, "{country: US}"), TODAY)
    stored = json.loads(loaded.document_json)["calendar"]["holidays"]["days"]
    assert stored["2026-07-03"].startswith("Independence Day")  # Saturday the 4th, observed
    assert catalogue_from_json(loaded.document_json) == loaded.catalogue
    file = tmp_path / "stored.yaml"
    file.write_text(loaded.document_json, encoding="utf-8")
    assert load_catalogue(file, date(2040, 1, 1)) == loaded


def test_a_version_from_before_there_were_holidays_is_read(tmp_path: Path) -> None:
    """A stored calendar of time zone, weekdays, cut-off and closures alone opens at eight."""
    file = tmp_path / "shop.yaml"
    file.write_text(WORKROOM, encoding="utf-8")
    document = json.loads(load_catalogue(file, TODAY).document_json)
    for name in ("opens", "holidays", "station_days"):
        del document["calendar"][name]
    calendar = catalogue_from_json(json.dumps(document)).calendar
    assert (calendar.opens.hour, calendar.holidays, calendar.station_days) == (8, None, ())


def test_the_domain_does_without_the_library() -> None:
    """Days are worked out from dates alone: nothing there loads a country's calendar."""
    script = "import sys, service.domain.promising; sys.exit('holidays' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", script], check=False).returncode == 0  # noqa: S603 - this interpreter and a fixed script
