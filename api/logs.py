"""Event log.

How are events written, so that a program can read them and no person is named in them?

One JSON object per line on standard error: event, level, time, and the request id where there is
one. Bodies, names, e-mail addresses and query strings are never passed to a logger. A network
address stands in security events only, and in the warning of a proxy. Of an exception the kind and
the places in the code are written, not its message, which may quote data.
"""

from __future__ import annotations

import logging
import sys
import traceback
from typing import Any

import structlog
from structlog.typing import EventDict, Processor

__all__ = ["configure_logs", "places_of"]

DEEPEST_PLACES = 8


def configure_logs(level: str) -> None:
    """Send structlog's events and those of the libraries to standard error as JSON lines."""
    shared: list[Processor] = [
        structlog.contextvars.merge_contextvars,
        structlog.processors.add_log_level,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
        _without_message,
    ]
    threshold = logging.getLevelNamesMapping()[level.upper()]
    structlog.configure(
        processors=[*shared, structlog.processors.JSONRenderer()],
        wrapper_class=structlog.make_filtering_bound_logger(threshold),
        logger_factory=structlog.PrintLoggerFactory(sys.stderr),
        cache_logger_on_first_use=False,
    )
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(
        structlog.stdlib.ProcessorFormatter(
            foreign_pre_chain=shared,
            processors=[
                structlog.stdlib.ProcessorFormatter.remove_processors_meta,
                structlog.processors.JSONRenderer(),
            ],
        )
    )
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(threshold)
    for noisy in ("uvicorn.access", "sqlalchemy.engine", "python_multipart", "alembic"):
        logging.getLogger(noisy).setLevel(logging.WARNING)


def places_of(failure: BaseException) -> dict[str, Any]:
    """Return the kind of a failure and where in the code it happened, without its message."""
    frames = traceback.extract_tb(failure.__traceback__)[-DEEPEST_PLACES:]
    return {
        "kind": type(failure).__name__,
        "places": [f"{frame.name}:{frame.lineno}" for frame in frames],
    }


def _without_message(_logger: Any, _method: str, event: EventDict) -> EventDict:
    """Put kind and places in the place of an exception."""
    found = event.pop("exc_info", None)
    failure = found[1] if isinstance(found, tuple) else found
    if isinstance(failure, BaseException):
        event.update(places_of(failure))
    return event
