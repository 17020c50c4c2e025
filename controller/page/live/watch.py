"""Looks at every chamber's record again and again, and keeps one picture each for all who look on."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from controller.core.orders.procedure import AT_REST
from controller.core.scan import ScanState
from controller.errors import StoreError
from controller.page.live.bound import Bound, bound, state_of
from controller.page.live.outlook import Outlook, outlook
from controller.page.live.picture import picture
from controller.page.live.places import ChamberPlace
from controller.page.live.plate import plate
from controller.page.live.spent import Spent
from controller.store.glance import Glance
from controller.store.writer import Checkpoint

STALE_TIMES = 3.0  # so many update times without a new scan, and the picture is no longer live
STALE_S_MIN = 3.0
EVERY_S = 0.4
OUTLOOK_AGAIN_S = 60.0  # after a forecast that could not be made


class ChamberWatch:
    """One chamber, looked at from one thread. `seen` is replaced whole, so others may read it at any time."""

    def __init__(self, place: ChamberPlace, clock: Callable[[], float] = time.monotonic) -> None:
        self.place = place
        self.plate: dict[str, Any] | None = None
        self.seen: dict[str, Any] = self._nothing("waiting", "no record yet")
        self.outlook: Outlook | None = None
        self.bound: Bound | None = None
        self._clock = clock
        self._glance: Glance | None = None
        self._cycle, self._head = 0, ""
        self._scan, self._last_id, self._at_s = -1, -1, -1e9
        self._checkpoint: Checkpoint | None = None
        self._state: ScanState | None = None
        self._spent: Spent | None = None
        self._began: tuple[int, int] | None = None  # cycle of the record and UTC ms of the last start
        self._outlook_for: tuple[int, int] | None = None
        self._next_outlook_s = 0.0

    def poll(self) -> bool:
        """Look once; True when there is something new to show."""
        before = self.seen
        try:
            self._look()
        except StoreError as error:
            self._let_go()
            self.seen = {**before, "live": False, "trouble": "unreadable", "why": str(error)}
        return self.seen is not before

    def close(self) -> None:
        """Give the file back."""
        self._let_go()

    def _look(self) -> None:
        if self._glance is None:
            if not self.place.record.is_file():
                if self.seen.get("trouble") != "waiting":
                    self.seen = self._nothing("waiting", "no record yet")
                return
            silent_s = self._silent_s()  # before it is opened: that makes a file beside it
            self._glance = Glance(self.place.record)
            self._at_s = self._clock() - silent_s
        glance = self._glance
        scan, last_id = glance.scan(), glance.last_id()
        if scan == self._scan and last_id == self._last_id and self.bound is not None:
            self._still()
            return
        if scan != self._scan and self._scan >= 0:
            self._at_s = self._clock()
        self._scan, self._last_id = scan, last_id
        self._follow(glance)

    def _follow(self, glance: Glance) -> None:
        if glance.cycle() != self._cycle or self.bound is None:
            found = glance.header()
            if found is None:
                return
            self._cycle, text, header = found
            if text != self._head or self.bound is None:
                self.bound, self._head = bound(header), text
            self.plate = plate(self.place, self.bound, self._cycle)
            self._spent = self._began = None
        here = self.bound
        newest = glance.newest(here.header)
        if self._checkpoint is None or glance.checkpoint_scan() != self._checkpoint.scan:
            self._checkpoint = glance.checkpoint()
            self._state = state_of(self._checkpoint.state) if self._checkpoint else None
        if newest is None or self._checkpoint is None or self._state is None:
            return
        now = picture(here, newest, self._checkpoint, self._state)
        self._times(glance, here, now)
        self.seen = {
            **self._name(), **now, "live": self._live(), "age_s": round(self._age_s(), 1), "trouble": "", "why": "",
            "journal": self._last_id,
        }  # fmt: skip

    def _times(self, glance: Glance, here: Bound, now: dict[str, Any]) -> None:
        """Began, energy so far and estimated end, while a cycle is in progress or has just ended."""
        began = glance.began()
        now.update({"began_ms": None, "spent": {}, "finish_ms": None, "ready_ms": None})
        if began is None or now["state"] == "idle":
            return
        cycle, began_ms = began
        if self._spent is None or began != self._began:
            self._began, self._spent = began, Spent(here, cycle, began_ms)
        self._spent.follow(glance)
        now.update({"began_ms": began_ms, "spent": self._spent.shown()})
        if self.outlook is not None and self._outlook_for == began:
            running = now["state"] not in AT_REST and now["state"] not in ("held", "holding", "paused", "stopping")
            now.update(self.outlook.times(now["utc_ms"], now["product"]["age_min_h"], running))

    def look_ahead(self) -> None:
        """Make the forecast of the cycle in progress once, about a second of work. Called between polls."""
        if self._glance is None or self.bound is None or self._began is None:
            return
        wanted = self._began
        first_ms = self.seen.get("utc_ms", 0) - wanted[1]
        if self._outlook_for == wanted or self._clock() < self._next_outlook_s or first_ms < 120_000:
            return
        try:
            self.outlook = outlook(self.bound, self._glance, *wanted)
            self._outlook_for = wanted
            self._scan = -2  # show it with the next look, new scan or not
        except (ArithmeticError, ValueError, StoreError):
            self._next_outlook_s = self._clock() + OUTLOOK_AGAIN_S

    def _still(self) -> None:
        """Nothing new: is the picture still live?"""
        live = self._live()
        if live != self.seen.get("live") or not live:
            self.seen = {**self.seen, "live": live, "age_s": round(self._age_s(), 1)}

    def _live(self) -> bool:
        scan_s = self.bound.header.scan_s if self.bound else 1.0
        return self._age_s() <= max(STALE_S_MIN, STALE_TIMES * scan_s)

    def _age_s(self) -> float:
        return self._clock() - self._at_s

    def _silent_s(self) -> float:
        """How long ago the record was last written, by the files' own times. An empty log beside it is a reader's."""
        record = self.place.record
        files = [path.stat() for path in (record, record.with_name(record.name + "-wal")) if path.is_file()]
        return max(0.0, time.time() - max((file.st_mtime for file in files if file.st_size), default=0.0))

    def _name(self) -> dict[str, Any]:
        return {
            "id": self.place.id, "line": self.place.line,
            "name": self.plate["name"] if self.plate else self.place.name or self.place.id,
        }  # fmt: skip

    def _nothing(self, trouble: str, why: str) -> dict[str, Any]:
        call = {"level": "look", "about": trouble, "text": "", "by_ms": None, "rank": 2, "unacked": 0, "hidden": 0}
        return {**self._name(), "live": False, "age_s": None, "trouble": trouble, "why": why, "call": call}

    def _let_go(self) -> None:
        if self._glance is not None:
            self._glance.close()
        self._glance = self.bound = None
        self._checkpoint = self._state = None
