"""The recorder in real time: a bounded queue and a thread that commits every scan, so that no disk delays a scan."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Mapping
from contextlib import suppress
from queue import Empty, Full, Queue
from typing import Any, Generic

from controller.core.frames import Event
from controller.errors import StoreError
from controller.store.checkpoint import State
from controller.store.recorder import Recorder, Scan

QUEUE_MAX = 3600  # an hour of a disk that hangs
_STOP_S = 30.0


class ThreadedRecorder(Generic[State]):
    """Same calls as Recorder, which it drives from a thread. Give it one made with `every_scan=True`.

    When the queue is full the scan itself is lost and counted, its commands and events are not: they go with the
    next scan that finds room.
    """

    def __init__(self, recorder: Recorder[State], queue_max: int = QUEUE_MAX) -> None:
        self._recorder = recorder
        self._queue: Queue[Scan | None] = Queue(queue_max)
        self._late: list[Scan] = []
        self._lagging = False
        self.notices: deque[Event] = recorder.notices
        self.scans_lost = 0
        self.failure: Exception | None = None
        self._thread = threading.Thread(target=self._work, name="recorder", daemon=True)
        self._thread.start()

    @property
    def trouble(self) -> bool:
        """True while the disk refuses, lags or the thread is gone."""
        return self._recorder.trouble or self.failure is not None or bool(self._late)

    @property
    def last_id(self) -> int:
        """Id of the last journal line that is committed."""
        return self._recorder.last_id

    def add(self, row: Scan) -> None:
        """Hand one scan over; never waits."""
        if self._late:
            row = self._with_late(row)
        try:
            self._queue.put_nowait(row)
            self._late.clear()
            if self._lagging:
                self._lagging = False
                text = f"the disk keeps up again; {self.scans_lost} scans were lost to the record"
                self.notices.append(Event("note", "RECORD", text, (("active", False),)))
        except Full:
            self.scans_lost += 1
            if row.commands or row.events:
                self._late = [row]
            if not self._lagging:
                self._lagging = True
                text = "the disk does not keep up; control goes on, scans are lost to the record; check the disk"
                self.notices.append(Event("note", "RECORD", text, (("active", True),)))

    def sum_up(self, cycle: int, summary: Mapping[str, Any]) -> None:
        """Put its summary to a cycle that is over, with the next commit."""
        self._recorder.sum_up(cycle, summary)

    def drain(self, timeout_s: float) -> bool:
        """Wait until everything handed over has been committed or refused; False when it takes longer."""
        deadline = time.monotonic() + timeout_s
        while self._queue.unfinished_tasks:
            if time.monotonic() > deadline:
                return False
            time.sleep(0.001)
        return True

    def end_cycle(self, summary: Mapping[str, Any], utc_ms: int) -> None:
        """Stop the thread, write everything and seal the cycle. Raises StoreError when it cannot."""
        self._join()
        self._recorder.end_cycle(summary, utc_ms)

    def close(self) -> None:
        """Stop the thread and close the file. Raises StoreError when something could not be written."""
        self._join()
        self._recorder.close()

    def _with_late(self, row: Scan) -> Scan:
        late = self._late[0]
        return row._replace(
            commands=(*late.commands, *row.commands),
            events=(*late.events, *row.events),
            begins=row.begins or late.begins,
        )

    def _join(self) -> None:
        if self._thread.is_alive():
            with suppress(Full):
                self._queue.put(None, timeout=_STOP_S)
            self._thread.join(_STOP_S)
        if self._thread.is_alive():
            raise StoreError("the disk does not answer; the end of the record is not written; check the disk")
        if self.failure is not None:
            raise StoreError(f"the recorder stopped: {self.failure!r}; the record ends there") from self.failure

    def _work(self) -> None:
        try:
            goes_on = True
            while goes_on:
                goes_on, taken = self._take()
                self._recorder.commit()
                for _row in range(taken):
                    self._queue.task_done()
        except Exception as error:  # noqa: BLE001  control outlives its recorder, whatever happened to it
            self.failure = error
            text = f"the recorder stopped: {error!r}; control goes on without a record; restart when convenient"
            self.notices.append(Event("note", "RECORD", text, (("active", True),)))

    def _take(self) -> tuple[bool, int]:
        """Everything that waits, at least one row. (False when told to stop, rows taken)"""
        row = self._queue.get()
        taken = 1
        while row is not None:
            self._recorder.add(row)
            try:
                row = self._queue.get_nowait()
            except Empty:
                return True, taken
            taken += 1
        return False, taken
