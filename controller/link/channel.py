"""One device's connection and what keeps it honest: one attempt a call, pauses between them, every failure counted."""

from __future__ import annotations

import time
from collections.abc import Callable
from threading import Lock
from typing import TypeVar

from controller.errors import LinkError
from controller.link.backoff import Backoff
from controller.link.device import Device
from controller.link.strict import StrictClient

Answer = TypeVar("Answer")


class Channel:
    """Sends requests to `device` and checks replies; knows no registers. See ModbusLink for what it promises."""

    def __init__(
        self, device: Device, *, lockstep: bool = False, monotonic: Callable[[], float] = time.monotonic
    ) -> None:
        where = f"{device.host}:{device.port}"
        self.counts: dict[str, int] = {"exchanges": 0, "connections": 0}
        self._where = where
        self._timeout_s = device.lockstep_timeout_s if lockstep else device.timeout_s
        self._client = StrictClient(where, device.host, device.port, device.unit_id, self._timeout_s)
        self._backoff = None if lockstep else Backoff(monotonic)
        self._unproven = False
        self._lock = Lock()

    def close(self) -> None:
        """Close the connection; the next exchange opens it again."""
        self._client.close()

    def _deadline_s(self) -> float:
        return time.monotonic() + self._timeout_s

    def _greet(self, deadline_s: float) -> None:
        """What a fresh connection needs before its first request."""

    def _attempt(self, pdu: bytes, check: Callable[[bytes], Answer], deadline_s: float) -> Answer:
        """One request and its checked reply; on every failure but a plain refusal the connection is closed."""
        client = self._client
        self.counts["exchanges"] += 1
        try:
            if not client.quiet():
                self._connect(deadline_s)
            answer = check(client.exchange(pdu, deadline_s))
        except LinkError as trouble:
            self._failed(trouble)
            raise
        if self._unproven:
            self._proven()
        return answer

    def _connect(self, deadline_s: float) -> None:
        """The one connection attempt of this exchange, if the pause after earlier failures is over."""
        if self._client.is_open:
            self._count("reopened")  # the device had left, or an old reply lay there: nothing was sent on it
            self._client.close()
        if self._backoff and (wait_s := self._backoff.wait_s()):
            text = f"{self._where} is not tried for another {wait_s:.1f} s"
            raise LinkError("waiting", f"{text}; last failure: {self._backoff.reason}")
        self._unproven = True
        self._client.connect(deadline_s)
        self._count("connections")
        self._greet(deadline_s)

    def _proven(self) -> None:
        """The device answered on this connection."""
        self._unproven = False
        if self._backoff:
            self._backoff.succeeded()

    def _failed(self, trouble: LinkError) -> None:
        self._count(trouble.kind)
        if trouble.kind.startswith("exception-"):
            self._proven()  # the device understood and said no
            return
        self._client.close()
        if self._unproven and self._backoff and trouble.kind != "waiting":
            self._backoff.failed(str(trouble))

    def _count(self, kind: str) -> None:
        self.counts[kind] = self.counts.get(kind, 0) + 1
