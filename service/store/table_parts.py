"""What every module of tables is made with: names of constraints, and the checks that recur."""

from __future__ import annotations

from typing import Any

from sqlalchemy import CheckConstraint, MetaData, text
from sqlmodel import Field, SQLModel

NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "pk": "pk_%(table_name)s",
}
"""Names for every constraint, without which SQLite's batch migrations cannot drop one."""

SQLModel.metadata.naming_convention = NAMING
metadata: MetaData = SQLModel.metadata


def one_of(column: str, values: tuple[str, ...]) -> CheckConstraint:
    """The column holds one of the values, or nothing where it may."""
    listed = ", ".join(f"'{value}'" for value in values)
    return CheckConstraint(f"{column} IN ({listed})", name=f"{column}_known")


def at_least(column: str, least: int) -> CheckConstraint:
    """The column's number is no less."""
    return CheckConstraint(f"{column} >= {least}", name=f"{column}_least")


def with_default(value: str | int, **field: Any) -> Any:  # noqa: ANN401 - as Field itself gives it
    """A column that rows from before it, and whoever leaves it out, have that value in."""
    written = f"'{value}'" if isinstance(value, str) else str(value)
    return Field(default=value, sa_column_kwargs={"server_default": text(written)}, **field)
