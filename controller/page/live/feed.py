"""One look at every chamber for all viewers: a thread polls, and whoever listens gets each new picture once."""

from __future__ import annotations

import asyncio
import json
import threading
from collections.abc import AsyncIterator
from typing import Any

from controller.errors import StoreError
from controller.page.live import rollups
from controller.page.live.places import Works
from controller.page.live.trends import Trends
from controller.page.live.watch import EVERY_S, ChamberWatch
from controller.store.glance import Glance

LISTENERS_MAX = 300  # more are told to come back later
_WAITING_MAX = 2  # pictures that a slow viewer may lie behind: older ones are dropped, he gets the newest

# What the list of chambers needs of a picture.
_ROW = (
    "id", "name", "line", "live", "age_s", "trouble", "why", "utc_ms", "simulated", "state", "recipe", "phase",
    "phases", "phase_kind", "air", "dew", "product", "call", "finish_ms", "ready_ms", "began_ms", "trips", "cycle_s",
    "by_hand", "waiting_long", "link_age_scans",
)  # fmt: skip


class Listener:
    """One viewer: a small queue that never holds the others up."""

    def __init__(self, chamber: str | None) -> None:
        self.chamber = chamber
        self.queue: asyncio.Queue[bytes] = asyncio.Queue(maxsize=_WAITING_MAX)

    def put(self, message: bytes) -> None:
        """Hand over a message; the oldest makes room."""
        if self.queue.full():
            self.queue.get_nowait()
        self.queue.put_nowait(message)


class Feed:
    """Watches the works from `start` to `stop`."""

    def __init__(self, works: Works) -> None:
        self.works = works
        self.watches = {place.id: ChamberWatch(place) for place in works.chambers}
        rolled = rollups.open_rollups(works.home / "trends.sqlite")
        lock = threading.Lock()
        self.trends = {place.id: Trends(place.id, place.record, rolled, lock) for place in works.chambers}
        self._rolled = rolled
        self._listeners: set[Listener] = set()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._ended = threading.Event()
        self._threads: list[threading.Thread] = []

    def start(self) -> None:
        """Begin to look, in threads of its own. Call it inside the event loop."""
        self._loop = asyncio.get_running_loop()
        self._threads = [threading.Thread(target=run, daemon=True) for run in (self._poll, self._roll)]
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """End the threads and give the files back."""
        self._ended.set()
        for thread in self._threads:
            thread.join(timeout=10.0)
        self._rolled.close()

    def rows(self) -> list[dict[str, Any]]:
        """The chambers in short, worst first, then by name."""
        found = [{name: watch.seen.get(name) for name in _ROW} for watch in self.watches.values()]
        return sorted(found, key=lambda row: (-_urgency(row), row["line"], row["name"]))

    @property
    def listeners(self) -> int:
        """How many look on now."""
        return len(self._listeners)

    async def listen(self, chamber: str | None) -> AsyncIterator[bytes]:
        """Messages for one viewer: of one chamber, or of the list when None."""
        listener = Listener(chamber)
        self._listeners.add(listener)
        try:
            yield self._message(chamber)
            while not self._ended.is_set():
                try:
                    yield await asyncio.wait_for(listener.queue.get(), timeout=5.0)
                except TimeoutError:
                    yield b": still here\n\n"
        finally:
            self._listeners.discard(listener)

    def _poll(self) -> None:
        while not self._ended.wait(EVERY_S):
            changed = [watch for watch in self.watches.values() if watch.poll()]
            if changed and self._loop is not None and not self._loop.is_closed():
                wanted = {listener.chamber for listener in tuple(self._listeners)}
                messages = {w.place.id: self._message(w.place.id) for w in changed if w.place.id in wanted}
                if None in wanted:
                    messages[""] = self._message(None)
                self._loop.call_soon_threadsafe(self._hand_out, messages)
            for watch in self.watches.values():
                watch.look_ahead()
        for watch in self.watches.values():
            watch.close()  # by the thread that opened its file

    def _hand_out(self, messages: dict[str, bytes]) -> None:
        for listener in self._listeners:
            message = messages.get(listener.chamber or "")
            if message is not None:
                listener.put(message)

    def _message(self, chamber: str | None) -> bytes:
        data: Any = self.rows() if chamber is None else self.watches[chamber].seen
        return b"data: " + json.dumps(data, separators=(",", ":"), allow_nan=False).encode() + b"\n\n"

    def _roll(self) -> None:
        """Bring the coarse copies up: at once after the start, then now and then, always in small pieces."""
        pause_s = 1.0
        while not self._ended.wait(pause_s):
            more = False
            for place in self.works.chambers:
                try:
                    glance = Glance(place.record)
                except StoreError:
                    continue
                try:
                    more = self.trends[place.id].roll(glance) or more
                except StoreError:
                    continue
                finally:
                    glance.close()
            pause_s = 0.05 if more else 120.0


def _urgency(row: dict[str, Any]) -> float:
    """Of a live chamber what it asks for; one that fell silent comes before those that need a look, one without a
    record before those that are well."""
    if row["live"]:
        return float(row["call"]["rank"])
    return 1.5 if row["trouble"] == "waiting" else max(2.5, float(row["call"]["rank"]))
