"""One worker a channel: it sends one message at a time, so that a slow server holds up nobody else's messages."""

from __future__ import annotations

import threading
from collections.abc import Callable
from queue import Empty, Queue

from controller.callout.outcome import Outcome

Send = Callable[[], Outcome]


class Worker:
    """A thread for one channel. What it was given last is busy until it is collected."""

    def __init__(self, channel: str) -> None:
        self.channel = channel
        self.letter_id: str | None = None
        self._given: Queue[Send | None] = Queue()
        self._done: Queue[Outcome] = Queue()
        self._thread = threading.Thread(target=self._work, name=f"post {channel}", daemon=True)
        self._thread.start()

    @property
    def free(self) -> bool:
        """Has it nothing to do?"""
        return self.letter_id is None

    def give(self, letter_id: str, send: Send) -> None:
        """Send this one; only when it is free."""
        self.letter_id = letter_id
        self._given.put(send)

    def collect(self, wait_s: float = 0.0) -> tuple[str, Outcome] | None:
        """(id, outcome) of what it was given, None while it is at it."""
        if self.letter_id is None:
            return None
        try:
            outcome = self._done.get(timeout=wait_s) if wait_s else self._done.get_nowait()
        except Empty:
            return None
        letter_id, self.letter_id = self.letter_id, None
        return letter_id, outcome

    def end(self) -> None:
        """No more work; what it is at is not waited for."""
        self._given.put(None)

    def _work(self) -> None:
        while (send := self._given.get()) is not None:
            try:
                self._done.put(send())
            except Exception as error:  # noqa: BLE001  one message that cannot be formed must not end the channel
                self._done.put(Outcome("refused", f"cannot be sent as it is: {error!r}"))
