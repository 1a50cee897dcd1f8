"""What statements are made of that are built once and run often.

Building a statement and keeping an object for each row cost more than the store itself does. So the
path that every order takes runs statements of tables, with bound values, that modules keep.
"""

from __future__ import annotations

from typing import Any, cast

from sqlalchemy import Table


def table_of(model: type[Any]) -> Table:
    """The table of a class of rows."""
    return cast("Table", model.__table__)
