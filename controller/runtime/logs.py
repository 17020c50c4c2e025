"""Log lines: short on a terminal, JSON elsewhere. Called by the shell around the loop, never on the scan."""

from __future__ import annotations

import sys
from typing import TextIO

import structlog


def set_up_logs(*, json: bool | None = None, stream: TextIO | None = None) -> None:
    """Choose how log lines look, for the whole process. json: None = JSON unless `stream` is a terminal.

    stream: standard error unless given; standard output belongs to results.
    """
    target = sys.stderr if stream is None else stream
    as_json = not target.isatty() if json is None else json
    shared: list[structlog.typing.Processor] = [
        structlog.contextvars.merge_contextvars,
        structlog.processors.add_log_level,
    ]
    if as_json:
        shared += [
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            structlog.processors.format_exc_info,
            structlog.processors.JSONRenderer(),
        ]
    else:
        shared += [
            structlog.processors.TimeStamper(fmt="%H:%M:%S", utc=False),
            structlog.dev.ConsoleRenderer(colors=target.isatty(), pad_event_to=0),
        ]
    structlog.configure(
        processors=shared,
        logger_factory=structlog.WriteLoggerFactory(file=target),
        cache_logger_on_first_use=False,
    )
