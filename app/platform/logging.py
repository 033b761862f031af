"""Logs: readable lines on a terminal, JSON lines elsewhere; always to the standard error stream."""

import logging
import sys
from typing import TextIO

import structlog

LEVELS = {
    "debug": logging.DEBUG,
    "info": logging.INFO,
    "warning": logging.WARNING,
    "error": logging.ERROR,
}


def set_up_logging(level: str = "info", stream: TextIO | None = None) -> None:
    """Send our own and the libraries' log entries through one pipe, at and above ``level``.

    ``stream`` is standard error unless a test hands in its own.
    """
    out = stream or sys.stderr
    shared: list[structlog.types.Processor] = [
        structlog.contextvars.merge_contextvars,
        structlog.stdlib.add_log_level,
        structlog.stdlib.add_logger_name,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
        structlog.processors.StackInfoRenderer(),
    ]
    structlog.configure(
        processors=[*shared, structlog.stdlib.ProcessorFormatter.wrap_for_formatter],
        logger_factory=structlog.stdlib.LoggerFactory(),
        wrapper_class=structlog.make_filtering_bound_logger(LEVELS[level]),
        cache_logger_on_first_use=True,
    )
    handler = logging.StreamHandler(out)
    handler.setFormatter(
        structlog.stdlib.ProcessorFormatter(
            foreign_pre_chain=shared,
            processors=[
                structlog.stdlib.ProcessorFormatter.remove_processors_meta,
                *_renderers(out),
            ],
        )
    )
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(LEVELS[level])
    for name in ("uvicorn", "uvicorn.error", "uvicorn.access"):
        logger = logging.getLogger(name)
        logger.handlers.clear()
        logger.propagate = True
    # Alembic tells each plugin it loads.
    logging.getLogger("alembic").setLevel(logging.WARNING)
    # One line a request is what a reverse proxy's log is for; here it would drown what matters.
    logging.getLogger("uvicorn.access").setLevel(logging.WARNING)


def _renderers(out: TextIO) -> list[structlog.types.Processor]:
    """Return how entries are written; tracebacks without local variables, as those have tokens and secrets in them."""
    if out.isatty():
        return [structlog.dev.ConsoleRenderer(exception_formatter=structlog.dev.plain_traceback)]
    plain = structlog.tracebacks.ExceptionDictTransformer(show_locals=False)
    return [structlog.processors.ExceptionRenderer(plain), structlog.processors.JSONRenderer()]
