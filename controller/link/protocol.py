"""What every link can do, and every way in which an exchange with a device can fail."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final, Protocol, runtime_checkable

from controller.core.frames import Event, Outputs, RawInputs
from controller.link.device import Device

# Kinds of LinkError; each is counted under its name. "exception-N" stands for Modbus exception code N.
KINDS: Final[tuple[str, ...]] = (
    "unresolved",  # the host name has no address
    "refused",  # nobody listens there
    "unreachable",  # no route, network down
    "timeout",  # no whole answer before the deadline
    "closed",  # the device closed or reset the connection
    "wrong-header",  # transaction, protocol, unit or length of the frame header
    "wrong-function",  # the reply answers another question
    "wrong-length",  # more or fewer words than asked for
    "wrong-echo",  # a write was acknowledged for another place or count
    "exception-N",  # the device understood and refused
    "waiting",  # not tried: the pause after failed connections is not over
    "bad-words",  # what should be sent, or what came, does not fit 16-bit words
    "wrong-signature",  # another device, or words out of place
    "wrong-map-version",  # the right device with another register map
    "not-set",  # the device does not show the setting it was told on connecting
    "not-alive",  # its counter stands, or it does not echo our heartbeat
)


class Link(Protocol):
    """One device, one exchange at a time. Words are ints 0..65535; a block is always whole.

    Every failure raises LinkError(kind, text) and is counted in `counts`; nothing is retried inside, because a
    write whose answer was lost may still have happened. The caller repeats the whole block in its next scan.
    """

    @property
    def counts(self) -> dict[str, int]:
        """Exchanges and every kind of failure."""
        ...

    def read(self) -> list[int]:
        """The input block."""
        ...

    def write(self, words: Sequence[int]) -> None:
        """Send the output block."""
        ...

    def turn(self, words: Sequence[int]) -> list[int]:
        """Send the output block, then read the input block: one round trip where the device can."""
        ...

    def close(self) -> None:
        """Give the connection back. A later exchange opens it again."""
        ...


@runtime_checkable
class Telling(Protocol):
    """A link that has more to say than raising: of several devices one may fail while the others go on."""

    tell: Callable[[Event], None]


class WordImage(Protocol):
    """Where the points stand in the words of a link: what a loop needs of it."""

    input_count: int
    output_count: int
    device: Device
    where: str
    heartbeat_word: int | None  # of the outputs, whose echo is in the inputs; None where no device shows one

    def decode(self, words: Sequence[int], age_scans: int = 0) -> RawInputs:
        """Inputs of one scan."""
        ...

    def encode(self, outputs: Outputs, heartbeat: int, scan_ms: int, *, alive: bool = True) -> list[int]:
        """Words of one output block. alive: False when they are safe outputs because nobody controls."""
        ...


class WordDevice(Protocol):
    """A device in the same process: the same three exchanges without a wire."""

    def read(self) -> Sequence[int]:
        """The input block."""
        ...

    def write(self, words: Sequence[int]) -> None:
        """Take the output block."""
        ...

    def turn(self, words: Sequence[int]) -> Sequence[int]:
        """Take the output block, then give the input block."""
        ...
