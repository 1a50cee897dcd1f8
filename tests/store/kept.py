"""Databases whose engines serve one test after another.

An engine writes out each kind of statement once and remembers it. A program keeps its engines for
as long as it runs; with engines of its own each test would write all of them out anew, which takes
longer than running them.
"""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from typing import Any, ClassVar

from sqlalchemy import Engine, event, make_url

from service.store.database import Database
from service.store.engine import Dialect, Engines, open_engines


class KeptDatabase(Database):
    """A database that, when it is closed, leaves its engines to the next one that is opened.

    Each is told from others as ever: two that are open at once never share an engine. A file is
    not waited for to be safe from a power cut, which no test that uses this could show.
    """

    _idle: ClassVar[defaultdict[tuple[str, int], list[_Kept]]] = defaultdict(list)

    def __init__(self, kept: _Kept, dialect: Dialect, idle: list[_Kept]) -> None:
        """Use :meth:`open`."""
        super().__init__(kept.engines, dialect)
        self._kept: _Kept | None = kept
        self._put_back = idle

    @classmethod
    def open(cls, url: str, *, pool_size: int = 8) -> Database:
        """As :meth:`Database.open`, with engines that know statements already where there are."""
        parsed = make_url(url)
        if parsed.query and parsed.get_backend_name() == "sqlite":
            return Database.open(url, pool_size=pool_size)
        if parsed.get_backend_name() == "sqlite":
            idle = cls._idle["sqlite", pool_size]
            kept = idle.pop() if idle else _KeptFiles(open_engines(parsed, pool_size))
            kept.file = parsed.database
            return cls(kept, "sqlite", idle)
        idle = cls._idle[url, pool_size]
        kept = idle.pop() if idle else _Kept(open_engines(parsed, pool_size))
        return cls(kept, "postgresql", idle)

    def close(self) -> None:
        """Leave the engines to the next."""
        if self._kept is not None:
            self._kept.rest()
            self._put_back.append(self._kept)
            self._kept = None


class _Kept:
    """Engines of a server's database, whose connections stay open."""

    file: str | None = None

    def __init__(self, engines: Engines) -> None:
        self.engines = engines

    def rest(self) -> None:
        """End what is not to be met by the next."""


class _KeptFiles(_Kept):
    """Engines that connect to whichever file they are told of."""

    def __init__(self, engines: Engines) -> None:
        super().__init__(engines)
        for engine in (engines.writer, engines.reader, engines.probe):
            self._redirect(engine)

    def rest(self) -> None:
        """Close every connection: the next file is another."""
        self.engines.dispose()

    def _redirect(self, engine: Engine) -> None:
        def name_the_file(_dialect: Any, _record: Any, args: list[Any], _options: Any) -> None:
            args[0] = self.file

        def hasten(connection: sqlite3.Connection, _record: Any) -> None:
            connection.execute("PRAGMA synchronous = OFF").close()

        event.listen(engine, "do_connect", name_the_file)
        event.listen(engine, "connect", hasten)
