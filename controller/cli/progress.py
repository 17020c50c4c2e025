"""Progress of long work: a bar on a terminal, one plain line per tenth elsewhere, nothing when asked to be quiet."""

from __future__ import annotations

import sys
from collections.abc import Callable


def progress(title: str, *, quiet: bool = False) -> Callable[[float, str], None]:
    """A function of (fraction done, note) that shows how far the work has come, on standard error."""
    if quiet:
        return lambda _fraction, _note: None
    return _bar(title) if sys.stderr.isatty() else _lines(title)


def line(*, quiet: bool = False) -> Callable[[str], None]:
    """A function that prints a line on standard error, over the bar where there is one."""
    if quiet:
        return lambda _text: None
    start, end = ("\r", "\033[K\n") if sys.stderr.isatty() else ("", "\n")
    return lambda text: print(f"{start}{text}", end=end, file=sys.stderr, flush=True)


def _bar(title: str) -> Callable[[float, str], None]:
    width = 30

    def show(fraction: float, note: str) -> None:
        full = round(width * min(1.0, fraction))
        end = "\n" if fraction >= 1.0 else ""
        print(f"\r{title} [{'#' * full}{'.' * (width - full)}] {note:<40.40}", end=end, file=sys.stderr, flush=True)

    return show


def _lines(title: str) -> Callable[[float, str], None]:
    shown = -1

    def show(fraction: float, note: str) -> None:
        nonlocal shown
        tenth = int(10 * fraction)
        if tenth > shown:
            shown = tenth
            print(f"{title}: {10 * tenth} % {note}", file=sys.stderr, flush=True)

    return show
