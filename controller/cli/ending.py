"""Ctrl-C and SIGTERM as a request to end in order; a second Ctrl-C does not wait for that."""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Callable, Iterator
from types import FrameType

SIGNALS = (signal.SIGINT, signal.SIGTERM)


@contextlib.contextmanager
def on_request(end: Callable[[], None]) -> Iterator[list[int]]:
    """Call `end` at the first signal; yields the list of signals that came. Only in the main thread of a process."""
    came: list[int] = []

    def handle(number: int, _frame: FrameType | None) -> None:
        if came and number == signal.SIGINT:
            raise KeyboardInterrupt
        came.append(number)
        end()

    before = {number: signal.signal(number, handle) for number in SIGNALS}
    try:
        yield came
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
