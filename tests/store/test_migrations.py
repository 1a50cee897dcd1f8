"""Migrations, on both stores: they end where the tables are, and go back to nothing."""

from __future__ import annotations

import json
import logging
import re
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, time, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import Connection, inspect, text

from service.domain.errors import Unavailable
from service.store import migrate
from service.store.database import Database
from service.store.engine import migration_engine, parse_url
from service.store.tables import metadata
from tests.store.rows import DAY, NOON, placed_order, ticket
from tests.store.servers import PostgresDatabases

TABLES = set(metadata.tables)
LATEST = {"latest_start_s", "aside_json", "document_sha256"}
"""Columns of a ticket that came after the tenth revision."""

DAY_AFTER = NOON + timedelta(days=1)

LATER = {"station", "remake", "remake_of", "method", "inputs_json", *LATEST}
"""Columns that came after the second revision."""


def _look(url: str, look: Any) -> Any:
    """What ``look`` sees of the database at ``url`` through a connection."""
    engine = migration_engine(parse_url(url))
    with engine.begin() as connection:
        seen = look(connection)
    engine.dispose()
    return seen


def _table_names(connection: Connection) -> set[str]:
    return set(inspect(connection).get_table_names()) - {"alembic_version"}


def _reflect(connection: Connection) -> dict[str, dict[str, Any]]:
    """Everything the database knows of each table, in an order of its own."""
    inspector = inspect(connection)
    found: dict[str, Any] = {
        "columns": inspector.get_multi_columns(),
        "primary key": inspector.get_multi_pk_constraint(),
        "references": inspector.get_multi_foreign_keys(),
        "unique": inspector.get_multi_unique_constraints(),
        "checks": inspector.get_multi_check_constraints(),
        "indexes": inspector.get_multi_indexes(),
    }
    return {
        kind: {
            table: sorted(map(repr, each)) if isinstance(each, list) else each
            for (_, table), each in tables.items()
            if table != "alembic_version"
        }
        for kind, tables in found.items()
    }


def _constraint_names(connection: Connection) -> list[tuple[str, str, str | None]]:
    """Prefix of its kind, table and name of every constraint."""
    inspector = inspect(connection)
    several: dict[str, Any] = {
        "fk": inspector.get_multi_foreign_keys(),
        "uq": inspector.get_multi_unique_constraints(),
        "ck": inspector.get_multi_check_constraints(),
    }
    one = inspector.get_multi_pk_constraint()
    return [
        *(("pk", table, each["name"]) for (_, table), each in one.items()),
        *(
            (prefix, table, each["name"])
            for prefix, tables in several.items()
            for (_, table), constraints in tables.items()
            for each in constraints
        ),
    ]


def _differences(connection: Connection) -> list[Any]:
    options = {"compare_type": True, "compare_server_default": True}
    context = MigrationContext.configure(connection, opts=options)
    return list(compare_metadata(context, metadata))


def test_up_down_and_up_again(bare_store_url: str) -> None:
    """The way up makes every table, the way down leaves none, and the way up works again."""
    assert migrate.current_revision(bare_store_url) is None
    migrate.upgrade(bare_store_url)
    assert _look(bare_store_url, _table_names) == TABLES
    assert migrate.current_revision(bare_store_url) == migrate.head_revision()
    migrate.downgrade(bare_store_url, "base")
    assert _look(bare_store_url, _table_names) == set()
    assert migrate.current_revision(bare_store_url) is None
    migrate.upgrade(bare_store_url)
    migrate.upgrade(bare_store_url)
    assert _look(bare_store_url, _table_names) == TABLES


def test_the_migrations_end_where_the_tables_are(store_url: str, bare_store_url: str) -> None:
    """Alembic finds nothing to add, and every detail equals that of tables made directly."""
    assert _look(store_url, _differences) == []
    _look(bare_store_url, metadata.create_all)
    assert _look(store_url, _reflect) == _look(bare_store_url, _reflect)


def test_every_constraint_has_a_name_of_the_convention(store_url: str) -> None:
    """Without a name, SQLite's batch migrations cannot drop it (alembic issue 1195)."""
    names = _look(store_url, _constraint_names)
    assert len(names) > 100
    for prefix, table, name in names:
        if table != "alembic_version":
            assert re.match(f"{prefix}_{table}(_|$)", name or ""), (table, name)


def test_two_runners_at_once_do_the_work_once(
    tmp_path: Path, postgres_databases: PostgresDatabases
) -> None:
    """Two programs that start together on an empty store both find it migrated, on each store."""
    urls = [f"sqlite:///{tmp_path / 'bare.sqlite3'}", postgres_databases.fresh()]
    code = (
        "import sys; from service.store import migrate; migrate.head_revision()\n"
        "for url in sys.argv[1:]:\n"
        "    print('up', flush=True); sys.stdin.readline(); migrate.upgrade(url)\n"
    )
    other = subprocess.Popen(  # noqa: S603 - our own program
        [sys.executable, "-c", code, *urls],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    with other:
        assert other.stdout is not None
        assert other.stdin is not None
        for url in urls:
            assert other.stdout.readline() == "up\n"
            other.stdin.write("go\n")
            other.stdin.flush()
            migrate.upgrade(url)
        assert other.wait(60) == 0
    assert [_look(url, _differences) for url in urls] == [[], []]


def test_a_migration_does_not_wait_for_ever_for_a_table_in_use(
    postgres_databases: PostgresDatabases, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It gives up, so that callers do not queue behind it, and changes nothing."""
    monkeypatch.setattr(migrate, "_LOCK_TIMEOUT_S", 0.05)
    url = postgres_databases.fresh()
    migrate.upgrade(url)
    engine = migration_engine(parse_url(url))
    with engine.connect() as user:
        user.exec_driver_sql("SELECT * FROM event")
        with pytest.raises(Unavailable):
            migrate.downgrade(url, "base")
    engine.dispose()
    assert _look(url, _table_names) == TABLES


def test_artworks_from_before_copies_were_kept_stay(bare_store_url: str) -> None:
    """Their rows go up without a copy and back down as they were, with every check in force."""
    row = {
        "id": "art_1",
        "holder": "corner-shop",
        "sha256": "0" * 64,
        "media_type": "image/png",
        "byte_size": 1,
        "rights_declared": True,
        "measures_json": "{}",
        "created_at": "2026-03-02 12:00:00+00:00",
    }
    names = ", ".join(row)
    values = ", ".join(f":{name}" for name in row)
    migrate.upgrade(bare_store_url, "0001")
    insert = text(f"INSERT INTO artwork ({names}) VALUES ({values})")  # noqa: S608 - our own names
    _look(bare_store_url, lambda connection: connection.execute(insert, row))
    checks = _look(bare_store_url, _reflect)["checks"]
    migrate.upgrade(bare_store_url)
    look = text("SELECT id, kept_sha256 FROM artwork")
    seen = _look(bare_store_url, lambda connection: connection.execute(look).all())
    assert [tuple(one) for one in seen] == [("art_1", None)]
    migrate.downgrade(bare_store_url, "0001")
    assert _look(bare_store_url, _reflect)["checks"] == checks
    look = text("SELECT id FROM artwork")
    assert _look(bare_store_url, lambda connection: connection.execute(look).scalar()) == "art_1"


def test_tickets_from_before_pieces_were_counted(bare_store_url: str) -> None:
    """They wait at their first step; finished ones are all good, entered by who finished them."""
    rows = {row.__tablename__: row for row in [*placed_order(), ticket()]}
    document = (
        '{"pieces_by_size": {"S": 2, "M": 10}, "pieces_to_start": 13, '
        '"steps": [{"station": "cutting"}, {"station": "pressing"}]}'
    )
    migrate.upgrade(bare_store_url, "0002")
    with _opened(bare_store_url) as connection:
        for name in ("catalogue_version", "quote", "customer_order"):
            _insert(connection, name, rows[name].model_dump(exclude_none=True, exclude=LATER))
        for number, state in enumerate(["waiting", "made", "halted", "on_bench"], 1):
            known = rows["ticket"].model_dump(exclude={"id", *LATER})
            halted_from = "checked" if state == "halted" else None
            own = {"id": number, "number": f"T-{number}", "line_index": number, "state": state}
            also = {"halted_from": halted_from, "document_json": document}
            _insert(connection, "ticket", {**known, **own, **also})
            move = {"ticket_id": number, "move": "finish", "who": "Ada", "note": "", "at": NOON}
            _insert(
                connection,
                "ticket_move",
                {**move, "id": number, "from_state": "on_bench", "to_state": "made"},
            )
    before = _look(bare_store_url, _reflect)
    migrate.upgrade(bare_store_url)
    look = text("SELECT number, station, remake, remake_of FROM ticket ORDER BY id")
    seen = _look(bare_store_url, lambda connection: connection.execute(look).all())
    assert [tuple(one) for one in seen] == [(f"T-{n}", "cutting", 0, None) for n in (1, 2, 3, 4)]
    look = text("SELECT ticket_id, kind, size, count, who FROM ticket_piece ORDER BY id")
    seen = _look(bare_store_url, lambda connection: connection.execute(look).all())
    assert sorted(map(tuple, seen)) == sorted(
        (ticket_id, "done", size, count, "Ada")
        for ticket_id in (2, 3)
        for size, count in (("S", 2), ("M", 10))
    )
    migrate.downgrade(bare_store_url, "0002")
    assert _look(bare_store_url, _reflect) == before


def test_going_back_keeps_remakes(bare_store_url: str) -> None:
    """Before remakes a line had one ticket, so they become lines far beyond an order's own."""
    migrate.upgrade(bare_store_url)
    rows = [*placed_order(), ticket(id=1), ticket(id=2, number="T-2", remake=1, remake_of="T-1")]
    database = Database.open(bare_store_url)
    database.write(lambda session: session.add_all(rows))
    database.close()
    migrate.downgrade(bare_store_url, "0002")
    look = text("SELECT number, line_index FROM ticket ORDER BY id")
    seen = _look(bare_store_url, lambda connection: connection.execute(look).all())
    assert [tuple(one) for one in seen] == [("T-1", 0), ("T-2", 1_000_002)]


@contextmanager
def _opened(url: str) -> Iterator[Connection]:
    engine = migration_engine(parse_url(url))
    with engine.begin() as connection:
        yield connection
    engine.dispose()


def _insert(connection: Connection, table: str, row: dict[str, Any]) -> None:
    names = ", ".join(row)
    values = ", ".join(f":{name}" for name in row)
    kept = {
        name: value.isoformat() if isinstance(value, date) else value for name, value in row.items()
    }
    statement = text(f"INSERT INTO {table} ({names}) VALUES ({values})")  # noqa: S608 - our own
    connection.execute(statement, kept)


def test_migrations_leave_logging_alone(tmp_path: Path) -> None:
    """A service that migrates at its start keeps the log it has set up."""

    def state() -> tuple[object, ...]:
        root, own = logging.getLogger(), logging.getLogger("service.test")
        return root.level, list(root.handlers), own.level, own.disabled, list(own.handlers)

    before = state()
    migrate.upgrade(f"sqlite:///{tmp_path / 'quiet.sqlite3'}")
    assert state() == before


def test_a_folder_is_made_for_a_new_file(tmp_path: Path) -> None:
    """A first start in an empty data folder works; blanks and percent signs in it do no harm."""
    file = tmp_path / "data 100%" / "deeper" / "intake.sqlite3"
    url = f"sqlite:///{file}"
    assert migrate.current_revision(url) is None
    assert not file.exists()
    migrate.upgrade(url)
    assert migrate.current_revision(url) == migrate.head_revision()


def test_a_migration_that_breaks_references_is_not_kept(
    tmp_path: Path, migrated_sqlite_file: Path
) -> None:
    """References are unwatched while SQLite rebuilds tables, so they are checked at the end."""
    file = tmp_path / "broken.sqlite3"
    shutil.copyfile(migrated_sqlite_file, file)
    connection = sqlite3.connect(file)
    connection.execute(
        "INSERT INTO booking (ticket_id, station, day, seconds) VALUES (7, 'a', '2026-03-09', 1)"
    )
    connection.commit()
    connection.close()
    with pytest.raises(RuntimeError, match="broken references in booking"):
        migrate.upgrade(f"sqlite:///{file}")


def test_a_drafted_migration_runs_as_it_stands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The template imports what drafted code uses (alembic issue 1647)."""
    location = tmp_path / "migrations"
    shutil.copytree(migrate.LOCATION, location, ignore=shutil.ignore_patterns("0*.py", "__pyc*"))
    monkeypatch.setattr(migrate, "LOCATION", location)
    url = f"sqlite:///{tmp_path / 'draft.sqlite3'}"
    [drafted] = migrate.draft_revision(url, "all tables anew")
    assert "import sqlmodel\n" in drafted.read_text()
    assert "AutoString(length=" in drafted.read_text()
    migrate.upgrade(url)
    assert _look(url, _differences) == []
    capsys.readouterr()


def test_quotes_from_before_lines_were_rounded_keep_their_amounts(bare_store_url: str) -> None:
    """A price of a piece is told with more decimals, totals by size follow, and all goes back."""
    migrate.upgrade(bare_store_url, "0004")
    money = {"amount": 1067, "currency": "EUR"}
    told = {
        "id": "quo_1",
        "catalogue_version": "v1",
        "created_at": "2026-03-02T12:00:00Z",
        "expires_at": "2026-03-03T12:00:00Z",
        "lines": [{"pieces_by_size": {"S": 3}, "unit_prices": {"S": money}, "total": money}],
        "total": {"amount": 3201, "currency": "EUR"},
        "promise": {},
    }
    insert = text(
        "INSERT INTO quote (id, holder, catalogue_version, request_json, answer_json, cost_json, "
        "plan_json, total_minor, currency, promised_day, created_at, expires_at) "
        "VALUES ('quo_1', 'shop', 'v1', '{}', :told, '[]', '{}', 3201, 'EUR', "
        "'2026-03-05', '2026-03-02 12:00:00', '2026-03-03 12:00:00')"
    )
    version = text(
        "INSERT INTO catalogue_version (version, document_json, created_at) "
        "VALUES ('v1', '{}', '2026-03-02 12:00:00')"
    )

    def write(connection: Connection) -> None:
        connection.execute(version)
        connection.execute(insert, {"told": json.dumps(told)})

    def read(connection: Connection) -> Any:
        return json.loads(connection.execute(text("SELECT answer_json FROM quote")).scalar_one())

    _look(bare_store_url, write)
    migrate.upgrade(bare_store_url)
    now = _look(bare_store_url, read)
    (line,) = now["lines"]
    assert line["unit_prices"] == {"S": {"per_piece": "10.6700", "currency": "EUR"}}
    assert line["totals_by_size"] == {"S": {"amount": 3201, "currency": "EUR"}}
    assert (line["counted_pieces"], now["goods"]) == (3, now["total"])
    migrate.downgrade(bare_store_url, "0004")
    assert _look(bare_store_url, read) == told


def test_stock_that_runs_took_before_sizes_were_kept(bare_store_url: str) -> None:
    """Its moves stay up and down; open tickets need what their documents say, others nothing."""
    migrate.upgrade(bare_store_url, "0006")
    document = json.dumps(
        {
            "blank_id": "tee",
            "colour_id": "black",
            "pieces_by_size": {"M": 3},
            "starts_by_size": {"M": 4},
            "materials": [
                {"medium": "film", "colour": "White", "length_mm": 812.5, "sheets": None},
                {"medium": "paper", "length_mm": 300.0, "sheets": 2},
            ],
        }
    )
    states = ["waiting", "on_bench", "halted", "made", "waiting"]
    with _opened(bare_store_url) as connection:
        rows = {row.__tablename__: row for row in [*placed_order(), ticket()]}
        for name in ("catalogue_version", "quote", "customer_order"):
            _insert(connection, name, rows[name].model_dump(exclude_none=True))
        for number, state in enumerate(states, 1):
            halted_from = "waiting" if state == "halted" else None
            own = {"id": number, "number": f"T-{number}", "line_index": number, "state": state}
            also = {"halted_from": halted_from, "document_json": document}
            known = rows["ticket"].model_dump(exclude={"id", *LATEST})
            _insert(connection, "ticket", {**known, **own, **also})
        move = {"from_state": "waiting", "to_state": "on_bench", "who": "Ada", "note": ""}
        _insert(connection, "ticket_move", {**move, "ticket_id": 5, "move": "start", "at": NOON})
        taken = {"kind": "medium", "item": "film", "colour": "White", "unit": "um", "note": ""}
        _insert(
            connection,
            "stock_move",
            {**taken, "id": 7, "quantity": -5, "reason": "run", "who": "Ada", "at": NOON},
        )
    before = _look(bare_store_url, _reflect)
    migrate.upgrade(bare_store_url)
    look = text("SELECT ticket_id, item, colour, size, quantity, unit FROM ticket_need")
    seen = _look(bare_store_url, lambda connection: connection.execute(look).all())
    media = [("film", "White", "", 812_500, "um"), ("paper", "", "", 2, "sheets")]
    assert sorted(map(tuple, seen)) == sorted(
        (number, *need)
        for number, blanks in ((1, 4), (2, 0), (3, 4), (5, 0))
        for need in [*media, *([("tee", "black", "M", blanks, "pieces")] if blanks else [])]
    )
    look = text("SELECT id, size, quantity, ticket_id FROM stock_move")
    seen = _look(bare_store_url, lambda connection: connection.execute(look).all())
    assert [tuple(one) for one in seen] == [(7, "", -5, None)]
    migrate.downgrade(bare_store_url, "0006")
    look = text("SELECT id, quantity FROM stock_move")
    seen = _look(bare_store_url, lambda connection: connection.execute(look).all())
    assert [tuple(one) for one in seen] == [(7, -5)]
    assert _look(bare_store_url, _reflect) == before


def test_tickets_from_before_go_by_their_promised_day(bare_store_url: str) -> None:
    """Until their start is found it is the beginning of that day, UTC; nothing is set aside."""
    migrate.upgrade(bare_store_url, "0010")
    with _opened(bare_store_url) as connection:
        rows = {row.__tablename__: row for row in [*placed_order(), ticket()]}
        for name in ("catalogue_version", "quote", "customer_order"):
            _insert(connection, name, rows[name].model_dump(exclude_none=True))
        known = rows["ticket"].model_dump(exclude_none=True, exclude=LATEST)
        _insert(connection, "ticket", {**known, "document_json": "{}"})
    migrate.upgrade(bare_store_url)
    look = text("SELECT latest_start_s, aside_json FROM ticket")
    (seen,) = _look(bare_store_url, lambda connection: connection.execute(look).all())
    day = datetime.combine(DAY, time(), UTC)
    assert tuple(seen) == (int(day.timestamp()), "[]")


def test_documents_of_tickets_are_kept_once(bare_store_url: str) -> None:
    """Under the SHA-256 of their text; going back every ticket has its own, and quotes expire."""
    migrate.upgrade(bare_store_url, "0013")
    texts = {1: '{"garment": "T\u00e9e"}', 2: "{}", 3: '{"garment": "T\u00e9e"}'}
    with _opened(bare_store_url) as connection:
        rows = {row.__tablename__: row for row in [*placed_order(), ticket()]}
        for name in ("catalogue_version", "quote", "customer_order"):
            _insert(connection, name, rows[name].model_dump(exclude_none=True))
        waiting = {**rows["quote"].model_dump(), "id": "quo_2", "expires_at": DAY_AFTER}
        _insert(connection, "quote", waiting)
        known = rows["ticket"].model_dump(exclude={"id", "document_sha256"})
        for number, document in texts.items():
            own = {"id": number, "number": f"T-{number}", "line_index": number}
            _insert(connection, "ticket", {**known, **own, "document_json": document})
    before = _look(bare_store_url, _reflect)
    migrate.upgrade(bare_store_url)
    look = text("SELECT id, document_sha256 FROM ticket")
    names = dict(_look(bare_store_url, lambda connection: connection.execute(look).all()))
    assert names == {at: sha256(one.encode()).hexdigest() for at, one in texts.items()}
    look = text("SELECT sha256, document_json FROM kept_document")
    kept = _look(bare_store_url, lambda connection: connection.execute(look).all())
    assert sorted(map(tuple, kept)) == sorted({(names[at], one) for at, one in texts.items()})
    migrate.downgrade(bare_store_url, "0013")
    look = text("SELECT id, document_json FROM ticket")
    assert dict(_look(bare_store_url, lambda connection: connection.execute(look).all())) == texts
    assert _look(bare_store_url, _reflect) == before
    look = text("SELECT id FROM quote WHERE expires_at > created_at")
    assert _look(bare_store_url, lambda connection: connection.execute(look).all()) == []
