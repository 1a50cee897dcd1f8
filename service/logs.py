"""Log lines: JSON where a machine reads them, plain where a person does; to standard error."""

from __future__ import annotations

import logging
import sys

import structlog

from service.web.request_mark import add_mark


def configure_logs(*, json_lines: bool, level: int = logging.INFO) -> None:
    """Set up structlog once for the process. Lines hold no bodies, keys or names of people."""
    shown = (
        [structlog.processors.JSONRenderer()] if json_lines else [structlog.dev.ConsoleRenderer()]
    )
    structlog.configure(
        processors=[
            add_mark,
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            *shown,
        ],
        wrapper_class=structlog.make_filtering_bound_logger(level),
        logger_factory=structlog.PrintLoggerFactory(sys.stderr),
        cache_logger_on_first_use=False,
    )
