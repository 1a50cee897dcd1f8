"""Accepted standard minutes meet the catalogue's files where a version is put in force."""

from __future__ import annotations

from decimal import Decimal

import pytest
from sqlmodel import select

from service.domain.standard_minutes import StandardMinutes, operations_of
from service.intake import catalogues as catalogues_module
from service.intake.catalogues import Catalogues
from service.store.database import Database
from service.store.tables import AcceptedStandard, CatalogueVersion
from tests.store.rows import NOON
from tests.web.shop.conftest import changed_catalogue, compiled_once, demo_catalogue

METHOD = demo_catalogue().catalogue.methods[0]
SMALL = changed_catalogue(blanks=demo_catalogue().catalogue.blanks[:1], methods=(METHOD,))


def accepted(database: Database) -> None:
    """Another process accepts two minutes and a half for a press that is written with two."""
    row = AcceptedStandard(
        method=METHOD.id,
        operation="press",
        station="pressing",
        written_each_ms=120_000,
        written_weed_e4=0,
        each_ms=150_000,
        weed_e4=0,
        jobs=7,
        who="Grace",
        at=NOON,
    )
    database.write(lambda session: session.add(row))


def test_what_is_accepted_while_a_catalogue_is_made_ready_is_not_lost(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A start that overlaps an accept ends with what was accepted, and stores nothing before it."""
    monkeypatch.setattr(catalogues_module, "compile_catalogue", compiled_once)
    catalogues, accepts = Catalogues(database), iter([accepted])
    made_ready = catalogues._made_ready

    def with_an_accept_meanwhile(version: str, document_json: str) -> object:
        for accept in accepts:
            accept(database)
        return made_ready(version, document_json)

    monkeypatch.setattr(catalogues, "_made_ready", with_an_accept_meanwhile)
    installed = catalogues.install(SMALL, NOON)
    minutes = {
        one.name.operation: StandardMinutes.of(one.operation)
        for one in operations_of(installed.catalogue.methods[0])
    }
    assert minutes["press"].each_min == Decimal("2.5")
    rows = database.read(lambda session: session.exec(select(CatalogueVersion)).all())
    assert [row.version for row in rows] == [installed.version]
