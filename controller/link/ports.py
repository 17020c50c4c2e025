"""How the requests of one device reach it: over Modbus TCP, or as calls in the same process."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import Final, Protocol

from controller.errors import LinkError
from controller.link.bits import ReadBitsRequest, WriteBitsRequest
from controller.link.blocks import BITS, Block, Blocks
from controller.link.channel import Channel
from controller.link.device import Setting
from controller.link.pdu import READ, ReadRequest, WriteRequest

REFUSED_TRIPPED: Final = "exception-4"  # device failure: how couplers say that their watchdog has tripped


class Port(Protocol):
    """One device, its requests by number. Words as in controller.link.blocks; failures raise LinkError."""

    @property
    def counts(self) -> dict[str, int]:
        """Exchanges and every kind of failure."""
        ...

    def begin(self) -> None:
        """A new exchange: its deadline runs from here."""
        ...

    def read(self) -> list[int]:
        """The words of all reads, in their order."""
        ...

    def write(self, words: Sequence[int]) -> None:
        """Send all writes, in their order."""
        ...

    def close(self) -> None:
        """Give the connection back."""
        ...


class ModbusPort(Channel):
    """A Port over Modbus TCP: one connection, whatever the device would allow.

    Settings are written and read back on every connection, before anything else. Outputs refused because the
    watchdog had tripped are followed by its re-arm in the next exchange; the outputs come in the one after.
    """

    def __init__(
        self, blocks: Blocks, *, lockstep: bool = False, monotonic: Callable[[], float] = time.monotonic
    ) -> None:
        device = blocks.device
        super().__init__(device, lockstep=lockstep, monotonic=monotonic)
        self._reads = [_read_request(self._where, block) for block in blocks.reads]
        self._writes = [
            (_write_request(self._where, block), slice(block.offset, block.offset + block.words))
            for block in blocks.writes
        ]
        self._settings = [_Told(self._where, setting) for setting in device.settings]
        guard = device.watchdog
        self._rearm: WriteRequest | None = None
        if guard is not None and guard.rearm_register is not None:
            self._rearm = WriteRequest(self._where, guard.rearm_register, 1)
            self._rearm_words = (guard.rearm_value,)
        self._rearm_due = False
        self._deadline = 0.0

    def begin(self) -> None:
        """A new exchange: its deadline runs from here."""
        self._deadline = self._deadline_s()

    def read(self) -> list[int]:
        """The words of all reads, in their order."""
        words: list[int] = []
        for request in self._reads:
            words += self._attempt(request.pdu, request.words, self._deadline)
        return words

    def write(self, words: Sequence[int]) -> None:
        """Send all writes, in their order; before them the re-arm, if the last ones were refused for want of it."""
        if self._rearm_due and self._rearm is not None:
            self._rearm_due = False
            self._attempt(self._rearm.pdu(self._rearm_words), self._rearm.accept, self._deadline)
            self._count("re-armed")
        for request, part in self._writes:
            try:
                self._attempt(request.pdu(words[part]), request.accept, self._deadline)
            except LinkError as trouble:
                self._rearm_due = self._rearm is not None and trouble.kind == REFUSED_TRIPPED
                raise

    def _greet(self, deadline_s: float) -> None:
        """Write every setting and see that the device took it."""
        exchange = self._client.exchange
        for told in self._settings:
            told.write.accept(exchange(told.write.pdu(told.setting.values), deadline_s))
            shown = told.read.words(exchange(told.read.pdu, deadline_s))
            require_setting(self._where, told.setting, shown)


def require_setting(where: str, setting: Setting, shown: Sequence[int]) -> None:
    """Raise LinkError "not-set" unless the device shows what it was told."""
    if tuple(shown) != setting.values:
        raise LinkError(
            "not-set",
            f"{where} shows {list(shown)} in register {setting.base} ({setting.text}) after {list(setting.values)} was"
            " written: it does not do as told; check its write protection and the register in the device file",
        )


class _Told:
    """The requests of one setting."""

    def __init__(self, where: str, setting: Setting) -> None:
        self.setting = setting
        self.write = WriteRequest(where, setting.base, len(setting.values))
        self.read = ReadRequest(where, setting.base, len(setting.values), READ)


def _read_request(where: str, block: Block) -> ReadRequest | ReadBitsRequest:
    if block.function in BITS:
        return ReadBitsRequest(where, block.function, block.base, block.count)
    return ReadRequest(where, block.base, block.count, block.function)


def _write_request(where: str, block: Block) -> WriteRequest | WriteBitsRequest:
    if block.function in BITS:
        return WriteBitsRequest(where, block.base, block.count)
    return WriteRequest(where, block.base, block.count)
