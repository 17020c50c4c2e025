"""The link over Modbus TCP: one connection, one request in flight, nothing retried, nothing doubtful used."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from threading import Lock
from typing import TypeVar

from controller.errors import LinkError
from controller.link.backoff import Backoff
from controller.link.device import Device
from controller.link.pdu import ReadRequest, TurnRequest, WriteRequest
from controller.link.strict import StrictClient

Answer = TypeVar("Answer")


class ModbusLink:
    """A Link to `device`. input_count, output_count: words of its blocks (Image has them).

    One call costs at most one connection attempt and ends within the device's timeout_s (lockstep_timeout_s in
    lockstep; looking up a host name comes on top). After a failed attempt the next waits 0.5, 1, 2 ... 30 s by
    `monotonic`; meanwhile calls fail at once with kind "waiting". In lockstep there is no waiting, so that what
    happens does not depend on the wall clock. `counts` has calls, connections and every kind of failure.
    """

    def __init__(
        self,
        device: Device,
        *,
        input_count: int,
        output_count: int,
        lockstep: bool = False,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        where = f"{device.host}:{device.port}"
        inputs, outputs = device.input.base, device.output.base
        self.counts: dict[str, int] = {"exchanges": 0, "connections": 0}
        self._where = where
        self._timeout_s = device.lockstep_timeout_s if lockstep else device.timeout_s
        self._client = StrictClient(where, device.host, device.port, device.unit_id, self._timeout_s)
        self._read = ReadRequest(where, inputs, input_count)
        self._write = WriteRequest(where, outputs, output_count)
        self._turn = TurnRequest(
            where, write_base=outputs, write_count=output_count, read_base=inputs, read_count=input_count
        )
        self._one_request = device.turn == "FC23"
        self._backoff = None if lockstep else Backoff(monotonic)
        self._unproven = False
        self._lock = Lock()

    def read(self) -> list[int]:
        """The input block (FC 03)."""
        with self._lock:
            return self._attempt(self._read.pdu, self._read.words, self._deadline_s())

    def write(self, words: Sequence[int]) -> None:
        """Send the output block (FC 16)."""
        with self._lock:
            self._attempt(self._pack(self._write, words), self._write.accept, self._deadline_s())

    def turn(self, words: Sequence[int]) -> list[int]:
        """Send the output block, then read the input block: FC 23, or FC 16 and FC 03 under one deadline."""
        with self._lock:
            deadline_s = self._deadline_s()
            if self._one_request:
                return self._attempt(self._pack(self._turn, words), self._turn.words, deadline_s)
            self._attempt(self._pack(self._write, words), self._write.accept, deadline_s)
            return self._attempt(self._read.pdu, self._read.words, deadline_s)

    def close(self) -> None:
        """Close the connection; the next exchange opens it again."""
        self._client.close()

    def _deadline_s(self) -> float:
        return time.monotonic() + self._timeout_s

    def _pack(self, request: WriteRequest | TurnRequest, words: Sequence[int]) -> bytes:
        try:
            return request.pdu(words)
        except LinkError as trouble:
            self._count(trouble.kind)
            raise

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
