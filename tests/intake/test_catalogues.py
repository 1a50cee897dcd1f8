"""Catalogue versions: one in force, older ones on demand, each compiled once."""

from __future__ import annotations

from decimal import Decimal

import pytest
from sqlmodel import select

from service.catalogue.loading import LoadedCatalogue
from service.intake.catalogues import KEPT_VERSIONS, Catalogues
from service.store.database import Database
from service.store.tables import CatalogueVersion
from tests.store.rows import NOON
from tests.web.shop.conftest import changed_catalogue, demo_catalogue

ONE_BLANK = demo_catalogue().catalogue.blanks[:1]
"""All that a shop of these tests has, so that its table of choices is soon worked out."""


def dearer(by: int) -> LoadedCatalogue:
    """A catalogue of one blank with another price of a check."""
    prices = demo_catalogue().catalogue.prices
    changed = prices.model_copy(update={"artwork_check_min": Decimal(by)})
    return changed_catalogue(prices=changed, blanks=ONE_BLANK)


SMALL = changed_catalogue(blanks=ONE_BLANK)
"""The demonstration catalogue with one blank."""


def test_nothing_in_force_yet(database: Database) -> None:
    """Before a catalogue is installed there is none to ask, and none to fall back on."""
    catalogues = Catalogues(database)
    with pytest.raises(LookupError):
        _ = catalogues.current
    with pytest.raises(LookupError):
        catalogues.refresh()


def test_installing(database: Database) -> None:
    """The installed catalogue is in force here, and elsewhere after a refresh."""
    here, elsewhere = Catalogues(database), Catalogues(database)
    first = here.install(SMALL, NOON)
    assert here.current is first
    assert elsewhere.refresh().version == first.version
    second = here.install(dearer(1), NOON)
    assert second.version != first.version
    assert here.current is second
    assert elsewhere.current.version == first.version
    assert elsewhere.refresh().version == second.version


def test_the_same_again_is_no_new_version(database: Database) -> None:
    """Installing what is in force stores nothing and compiles nothing anew."""
    catalogues = Catalogues(database)
    first = catalogues.install(SMALL, NOON)
    assert catalogues.install(SMALL, NOON) is first


def test_an_older_version_is_read_within_the_callers_transaction(database: Database) -> None:
    """Also inside a write, where no transaction of its own could be opened."""
    Catalogues(database).install(SMALL, NOON)
    fresh = Catalogues(database)
    version = SMALL.version
    found = database.write(lambda session: fresh.of_version(session, version))
    assert found.version == version
    assert found.catalogue == SMALL.catalogue
    assert database.read(lambda session: fresh.of_version(session, version)) is found
    with pytest.raises(LookupError):
        database.read(lambda session: fresh.of_version(session, "none"))


def test_few_versions_are_kept_in_memory(database: Database) -> None:
    """The oldest compiled version is dropped and compiled again when it is asked for."""
    catalogues = Catalogues(database)
    first = catalogues.install(dearer(0), NOON)
    for number in range(1, KEPT_VERSIONS + 1):
        catalogues.install(dearer(number), NOON)
    again = database.read(lambda session: catalogues.of_version(session, first.version))
    assert again is not first
    assert again.catalogue == first.catalogue
    rows = database.read(lambda session: session.exec(select(CatalogueVersion)).all())
    assert len(rows) == KEPT_VERSIONS + 1
