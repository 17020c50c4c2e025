"""The desks of the chambers, one connection each that stays open.

The last connection to close a database in WAL mode tidies its log away under a lock, and control, which never waits,
would find the desk locked in that moment. So the page keeps one open as long as it runs.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from controller.page.live.places import ChamberPlace
from controller.store.desk import DESK, Desk


class Desks:
    """Opens a desk when it is first needed; one thread at a time may use each."""

    def __init__(self) -> None:
        self._open: dict[str, tuple[Desk, int]] = {}
        self._locks: dict[str, threading.Lock] = {}
        self._guard = threading.Lock()

    @contextmanager
    def at(self, place: ChamberPlace) -> Iterator[Desk]:
        """The desk of a chamber, made when there is none. Raises StoreError."""
        with self._guard:
            lock = self._locks.setdefault(place.id, threading.Lock())
        with lock:
            yield self._desk(place)

    def there(self, place: ChamberPlace) -> bool:
        """Whether a chamber has a desk yet: who only looks makes none."""
        return (place.folder / DESK).is_file()

    def close(self) -> None:
        """Give all files back."""
        for desk, _inode in self._open.values():
            desk.close()
        self._open.clear()

    def _desk(self, place: ChamberPlace) -> Desk:
        path = place.folder / DESK
        found = self._open.get(place.id)
        if found is not None and path.is_file() and path.stat().st_ino == found[1]:
            return found[0]
        if found is not None:  # somebody took the file away or put another one there
            found[0].close()
        if not path.is_file():
            _make(path)
        desk = Desk(path)
        self._open[place.id] = desk, path.stat().st_ino
        return desk


def _make(path: Path) -> None:
    """A new desk, whole before anybody sees it: control must not meet one whose tables are being made."""
    unseen = path.with_name(f"{path.name}.{os.getpid()}.new")
    try:
        Desk(unseen).close()
        with suppress(FileExistsError):  # another program was quicker: then that is the desk
            os.link(unseen, path)
    finally:
        unseen.unlink(missing_ok=True)
