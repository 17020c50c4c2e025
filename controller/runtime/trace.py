"""The trace: one SHA-256 over everything that decides and everything that was decided.

Per scan, in order: number of commands and of events (32 bit each), scan number (64 bit), age of the inputs in scans,
input words, output words (16 bit each), all big-endian; then, when there are any, commands and events as text.
UTC takes no part. Same seed and commit: same trace, whatever link carried the words.
"""

from __future__ import annotations

from collections.abc import Sequence
from hashlib import sha256
from struct import Struct

from controller.core.frames import Command, Event

_HEAD_BYTES = 16
_WORD_MAX = 65535


class Trace:
    """Takes scans one by one; `hexdigest` at any time."""

    def __init__(self, input_words: int, output_words: int) -> None:
        self._pack = Struct(f">IIQH{input_words}H{output_words}H").pack
        self._hash = sha256()
        self._update = self._hash.update

    def add(
        self,
        scan: int,
        age_scans: int,
        inputs: Sequence[int],
        outputs: Sequence[int],
        commands: tuple[Command, ...],
        events: tuple[Event, ...],
    ) -> bytes:
        """Take one scan; returns its words (age, inputs, outputs) packed, as the record keeps them."""
        age = age_scans if age_scans < _WORD_MAX else _WORD_MAX
        packed = self._pack(len(commands), len(events), scan, age, *inputs, *outputs)
        self._update(packed)
        if commands or events:
            self._update(repr((tuple(map(tuple, commands)), tuple(map(tuple, events)))).encode())
        return packed[_HEAD_BYTES:]

    def hexdigest(self) -> str:
        """SHA-256 of all scans so far, 64 hexadecimal digits."""
        return self._hash.hexdigest()
