"""How are events written, so that a program can read them and no person is named in them?

One JSON object per line on standard error: event, level, time, and the request id where there is
one. Bodies, names, addresses and query strings are never passed to a logger.
"""

from __future__ import annotations

import logging
import sys

import structlog

__all__ = ["configure_logs"]


def configure_logs(level: str) -> None:
    """Send structlog's events and those of the libraries to standard error as JSON lines."""
    shared: list[structlog.typing.Processor] = [
        structlog.contextvars.merge_contextvars,
        structlog.processors.add_log_level,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
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
    for noisy in ("uvicorn.access", "sqlalchemy.engine", "python_multipart"):
        logging.getLogger(noisy).setLevel(logging.WARNING)
