"""The link to a device object in the same process: no wire, the same words."""

from __future__ import annotations

from array import array
from collections.abc import Sequence

from controller.errors import LinkError
from controller.link.protocol import WordDevice


class DirectLink:
    """A Link to `device`. What goes out is checked like on a wire; the device's own errors pass through."""

    def __init__(self, device: WordDevice) -> None:
        self.counts: dict[str, int] = {"exchanges": 0}
        self._device = device

    def read(self) -> list[int]:
        """The input block."""
        self.counts["exchanges"] += 1
        return list(self._device.read())

    def write(self, words: Sequence[int]) -> None:
        """Give the output block to the device."""
        self._require_words(words)
        self._device.write(words)

    def turn(self, words: Sequence[int]) -> list[int]:
        """Give the output block, take the input block."""
        self._require_words(words)
        return list(self._device.turn(words))

    def close(self) -> None:
        """Nothing to give back."""

    def _require_words(self, words: Sequence[int]) -> None:
        self.counts["exchanges"] += 1
        try:
            array("H", words)  # one call that refuses negatives, > 65535 and what is no integer
        except (OverflowError, TypeError):
            self.counts["bad-words"] = self.counts.get("bad-words", 0) + 1
            raise LinkError(
                "bad-words",
                f"direct link: {list(words)!r} has something that is no 16-bit word (0..65535); nothing was sent",
            ) from None
