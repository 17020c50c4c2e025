"""Showing what a long-running command is doing: some lines redrawn in place on a terminal, else a line now and then."""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from queue import SimpleQueue

Say = Callable[[str], None]
EVERY_S = 0.5
LINE_EVERY_S = 60.0
_HIDE, _SHOW, _CLEAR = "\x1b[?25l", "\x1b[?25h", "\x1b[J"


@contextmanager
def shown(lines: Callable[[], list[str]], line: Callable[[], str], *, quiet: bool = False) -> Iterator[Say]:
    """While inside: redraw `lines()` twice a second on a terminal, print `line()` once a minute elsewhere.

    Both are called in a thread of their own, so that a terminal that takes nothing holds up nobody. Yields a function
    that prints a text and lets it stand, above the lines where there are some.
    """
    if quiet:
        yield lambda text: _write(text + "\n")
        return
    ended = threading.Event()
    said: SimpleQueue[str] = SimpleQueue()
    on_screen = on_terminal()
    target = (lambda: _redraw(lines, said, ended)) if on_screen else (lambda: _report(line, ended))
    thread = threading.Thread(target=target, name="display", daemon=True)
    thread.start()
    try:
        yield said.put if on_screen else lambda text: _write(text + "\n")
    finally:
        ended.set()
        thread.join(timeout=2.0)


def on_terminal() -> bool:
    """Whether standard output can be redrawn in place."""
    return sys.stdout.isatty() and os.environ.get("TERM", "dumb") != "dumb"


def frame(text: list[str], above: int, columns: int, rows: int, said: Sequence[str] = ()) -> tuple[str, int]:
    """(what to write to redraw `above` lines as `text`, lines on the screen then). No line of it wraps.

    said: what is to stand above it from now on, and may scroll away.
    """
    kept = [one[: max(1, columns - 1)] for one in text[: max(1, rows - 1)]]
    up = f"\x1b[{above}A" if above else ""
    return "\r" + up + _CLEAR + "".join(f"{one}\n" for one in (*said, *kept)), len(kept)


def _redraw(lines: Callable[[], list[str]], said: SimpleQueue[str], ended: threading.Event) -> None:
    above, over = 0, False
    with suppress(OSError, ValueError):  # the terminal is gone: whoever looked does not any more
        _write(_HIDE)
        try:
            while True:
                size = os.get_terminal_size(sys.stdout.fileno())
                columns, rows = size.columns or 80, size.lines or 24  # a terminal that does not know says 0
                news = [said.get() for _ in range(said.qsize())]
                text, above = frame(lines(), min(above, rows - 1), columns, rows, news)
                _write(text)
                if over:  # drawn once more: how it ended, and what was said last
                    break
                over = ended.wait(EVERY_S)
        finally:
            _write(_SHOW)


def _report(line: Callable[[], str], ended: threading.Event) -> None:
    with suppress(OSError, ValueError):
        while not ended.wait(LINE_EVERY_S):
            _write(line() + "\n")


def _write(text: str) -> None:
    sys.stdout.write(text)
    sys.stdout.flush()
