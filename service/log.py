"""One structured log, to standard error. Values from outside are fields, never part of the message."""

from __future__ import annotations

import logging
import sys
from typing import Any

import structlog

log: Any = structlog.get_logger("houseband")


def set_up_log(*, as_json: bool) -> None:
    """Choose lines for people or for machines."""
    renderer: Any = structlog.processors.JSONRenderer() if as_json else structlog.dev.ConsoleRenderer(colors=False)
    # A tick that is still busy when it rings again is no news.
    logging.getLogger("apscheduler").setLevel(logging.ERROR)
    structlog.configure(
        processors=[
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            structlog.processors.format_exc_info,
            renderer,
        ],
        logger_factory=structlog.PrintLoggerFactory(file=sys.stderr),
    )
