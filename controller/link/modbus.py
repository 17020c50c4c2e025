"""The link over Modbus TCP: one connection, one request in flight, nothing retried, nothing doubtful used."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence

from controller.errors import LinkError
from controller.link.channel import Channel
from controller.link.device import Device
from controller.link.pdu import ReadRequest, TurnRequest, WriteRequest


class ModbusLink(Channel):
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
        super().__init__(device, lockstep=lockstep, monotonic=monotonic)
        where = self._where
        inputs, outputs = device.input.base, device.output.base
        self._read = ReadRequest(where, inputs, input_count)
        self._write = WriteRequest(where, outputs, output_count)
        self._turn = TurnRequest(
            where, write_base=outputs, write_count=output_count, read_base=inputs, read_count=input_count
        )
        self._one_request = device.turn == "FC23"

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

    def _pack(self, request: WriteRequest | TurnRequest, words: Sequence[int]) -> bytes:
        try:
            return request.pdu(words)
        except LinkError as trouble:
            self._count(trouble.kind)
            raise
