"""A device with tables in the same process, by the same requests as on a wire."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from controller.link.blocks import BITS, Blocks
from controller.link.ports import require_setting


class TableDevice(Protocol):
    """A device in the same process: values of registers or bits (0 and 1) by Modbus function, address and count."""

    def read(self, function: int, base: int, count: int, /) -> Sequence[int]:
        """Functions 1 to 4."""
        ...

    def write(self, function: int, base: int, values: Sequence[int], /) -> None:
        """Functions 15 and 16."""
        ...


class DirectPort:
    """A Port to `device`. The device's own errors pass through."""

    def __init__(self, blocks: Blocks, device: TableDevice) -> None:
        self.counts: dict[str, int] = {"exchanges": 0}
        self._blocks, self._device, self._greeted = blocks, device, False

    def begin(self) -> None:
        """Write every setting once, as on a first connection."""
        if self._greeted:
            return
        self._greeted = True
        for setting in self._blocks.device.settings:
            self._device.write(16, setting.base, setting.values)
            shown = self._device.read(3, setting.base, len(setting.values))
            require_setting(self._blocks.device.name, setting, shown)

    def read(self) -> list[int]:
        """The words of all reads, in their order."""
        words: list[int] = []
        for block in self._blocks.reads:
            values = self._device.read(block.function, block.base, block.count)
            words += _packed(values) if block.function in BITS else values
        self.counts["exchanges"] += 1
        return words

    def write(self, words: Sequence[int]) -> None:
        """Give all writes, in their order."""
        for block in self._blocks.writes:
            values = words[block.offset : block.offset + block.words]
            if block.function in BITS:
                values = [values[n // 16] >> n % 16 & 1 for n in range(block.count)]
            self._device.write(block.function, block.base, values)
        self.counts["exchanges"] += 1

    def close(self) -> None:
        """Nothing to give back."""


def _packed(bits: Sequence[int]) -> list[int]:
    words = [0] * -(-len(bits) // 16)
    for number, on in enumerate(bits):
        if on:
            words[number // 16] |= 1 << number % 16
    return words
