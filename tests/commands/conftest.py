"""What the tests of commands share."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
import structlog


@pytest.fixture(autouse=True)
def _logs_as_before() -> Iterator[None]:
    """A command sets up the log for its process; other tests are to find it as it was."""
    yield
    structlog.reset_defaults()
