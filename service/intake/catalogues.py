"""Catalogue versions, compiled once and shared: the one in force, and older ones on demand."""

from __future__ import annotations

import threading
from collections import OrderedDict
from datetime import datetime
from functools import partial

from sqlmodel import Session

from service.catalogue.loading import LoadedCatalogue, catalogue_from_json, loaded_as
from service.domain.choice_table import table_of
from service.domain.compiled import CompiledCatalogue, compile_catalogue
from service.domain.standard_minutes import with_accepted
from service.intake.learning_rows import accepted_minutes
from service.store.catalogue_versions import (
    find_version,
    newest_version,
    store_version,
    version_in_force,
)
from service.store.database import Database, lock_shop

KEPT_VERSIONS = 8


class Catalogues:
    """The catalogue in force, held in memory, and a few older versions."""

    def __init__(self, database: Database) -> None:
        """Read from ``database``; call :meth:`install` or :meth:`refresh` before use."""
        self._database = database
        self._current: CompiledCatalogue | None = None
        self._compiled: OrderedDict[str, CompiledCatalogue] = OrderedDict()
        self._lock = threading.Lock()

    @property
    def current(self) -> CompiledCatalogue:
        """The catalogue in force. Raises ``LookupError`` before one is installed."""
        if self._current is None:
            raise LookupError("no catalogue has been installed")
        return self._current

    def install(self, loaded: LoadedCatalogue, now: datetime) -> CompiledCatalogue:
        """Store the catalogue as the newest version, unless it already is, and put it in force.

        Standard minutes that were accepted for what it says are put into it first. Its table of
        choices is worked out before it is in force, which takes from a twentieth of a second to
        some seconds: never on an event loop. Until then requests meet the catalogue before it.
        """
        while True:
            wanted = self._database.read(lambda session: _with_accepted(session, loaded))
            compiled = self._made_ready(wanted.version, wanted.document_json)
            if self._database.write(partial(_store, loaded=loaded, wanted=wanted, now=now)):
                self._current = compiled
                return compiled

    def follow(self) -> bool:
        """Put the newest stored version in force if it is another than here; whether it was.

        Reads one short row where nothing changed. Errors as :meth:`refresh`, and
        ``CatalogueFaults`` for a version that a newer program has stored.
        """
        newest = self._database.read(newest_version)
        if newest is None or newest == self.current.version:
            return False
        self.refresh()
        return True

    def refresh(self) -> CompiledCatalogue:
        """Put the newest stored version in force, as :meth:`install` does.

        Raises ``LookupError`` if there is none.
        """
        row = self._database.read(version_in_force)
        if row is None:
            raise LookupError("no catalogue has been stored")
        self._current = self._made_ready(row.version, row.document_json)
        return self._current

    def of_version(self, session: Session, version: str) -> CompiledCatalogue:
        """That version, compiled, read within the caller's transaction where it is not at hand.

        Raises ``LookupError`` if it was never stored.
        """
        with self._lock:
            if version in self._compiled:
                return self._compiled[version]
        row = find_version(session, version)
        if row is None:
            raise LookupError(f"no catalogue version {version}")
        return self._compile(version, row.document_json)

    def _made_ready(self, version: str, document_json: str) -> CompiledCatalogue:
        compiled = self._compile(version, document_json)
        # Outside the lock, so that quotes of older versions do not wait for it.
        table_of(compiled).warm_up()
        return compiled

    def _compile(self, version: str, document_json: str) -> CompiledCatalogue:
        with self._lock:
            if version not in self._compiled:
                compiled = compile_catalogue(catalogue_from_json(document_json), version)
                self._compiled[version] = compiled
                while len(self._compiled) > KEPT_VERSIONS:
                    self._compiled.popitem(last=False)
            self._compiled.move_to_end(version)
            return self._compiled[version]


def _with_accepted(session: Session, loaded: LoadedCatalogue) -> LoadedCatalogue:
    """The catalogue with the standard minutes that were accepted for what it says."""
    catalogue = with_accepted(loaded.catalogue, accepted_minutes(session))
    return loaded if catalogue is loaded.catalogue else loaded_as(catalogue)


def _store(
    session: Session, *, loaded: LoadedCatalogue, wanted: LoadedCatalogue, now: datetime
) -> bool:
    """Store what is wanted, unless other minutes were accepted since it was made ready."""
    lock_shop(session)
    if _with_accepted(session, loaded).version != wanted.version:
        return False
    store_version(session, wanted, now)
    return True
