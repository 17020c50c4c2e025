"""The device file (configs/devices/*.toml): where a panel is, what its two blocks carry, what to expect of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, Final, Literal

from annotated_types import Ge, Gt, Le, Len

INPUT_HEADER_WORDS: Final = 8  # signature, map version, counter high and low, status, echo, stale blocks, trips
OUTPUT_HEADER_WORDS: Final = 2  # heartbeat, scan_ms
IMAGE_WORDS_MAX: Final = 120  # one request carries a whole image; FC23 allows 121 words out, pyModbusTCP 123 in

Word = Annotated[int, Ge(0), Le(65535)]


@dataclass(frozen=True, slots=True, kw_only=True)
class InputBlock:
    """Words read from the device as one block.

    base: 0-based address of the first word.  header: "standard" = the eight words named above stand first; "none" =
    the block holds points only, and nothing tells a living device from a frozen one.
    table: of the header, holding registers (function 03) or input registers (04).
    signature, map_version: what the first two words must be; absent = not checked.
    """

    base: Word
    table: Literal["holding", "input"] = "holding"
    header: Literal["standard", "none"] = "standard"
    signature: Word | None = None
    map_version: Word | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputBlock:
    """Words written to the device as one block of absolute values. header: heartbeat and scan time stand first."""

    base: Word
    header: Literal["standard", "none"] = "standard"


@dataclass(frozen=True, slots=True, kw_only=True)
class Watchdog:
    """What the device does on its own: no fresh heartbeat for time_s and every output goes to its safe value.

    register: holding register in which time_s is set on every connection and read back, in per_s words a second; many
    devices have their watchdog off, and hold their last outputs, until it is written.
    rearm_register, rearm_value: written after the device refused outputs with exception 04, as many do once their
    watchdog has tripped.
    """

    time_s: Annotated[float, Gt(0), Le(600)]
    register: Word | None = None
    per_s: Annotated[int, Ge(1), Le(1000)] = 10
    rearm_register: Word | None = None
    rearm_value: Word = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Pulse:
    """A coil that changes with every block sent, for a hard-wired relay that waits for its edges.

    tag: of a contact output that nothing else uses. time_s: without an edge for so long the relay drops what it holds.
    """

    tag: Annotated[str, Len(1, 40)]
    time_s: Annotated[float, Gt(0), Le(600)]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadBlock:
    """One request for inputs. function: 1 coils, 2 discrete inputs, 3 holding registers, 4 input registers."""

    function: Literal[1, 2, 3, 4]
    base: Word
    count: Annotated[int, Ge(1), Le(1920)]


@dataclass(frozen=True, slots=True, kw_only=True)
class WriteBlock:
    """One request with outputs. function: 15 coils, 16 holding registers."""

    function: Literal[15, 16]
    base: Word
    count: Annotated[int, Ge(1), Le(1920)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """Holding registers written when a connection is made, and read back: the device must show what it was told."""

    text: Annotated[str, Len(1, 100)]
    base: Word
    values: Annotated[tuple[Word, ...], Len(1, 100)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """One Modbus TCP device.

    host: best an IP address: looking up a name is not covered by timeout_s.
    turn: "FC23" (17h) writes and reads in one round trip; "FC03+FC16" writes, then reads.
    timeout_s: for one exchange from connecting to the last byte of the reply.
    lockstep_timeout_s: the same for a simulated device that advances only when it is written.
    input, output: the two blocks of a device that has both as holding registers; and where a header stands.
    read, write: requests of a device with other tables, in their order. Left out, there is one request a table, from
    its first to its last address in use. The block with the heartbeat is written last.
    on_connect: settings that must be in place before anything is read.
    pulse: where the device has no watchdog, or one is not enough.
    connections_max: how many the device allows; the controller always keeps to one.
    """

    name: Annotated[str, Len(1, 64)]
    host: Annotated[str, Len(1, 253)]
    port: Annotated[int, Ge(1), Le(65535)] = 502
    unit_id: Annotated[int, Ge(0), Le(255)] = 255
    turn: Literal["FC23", "FC03+FC16"] = "FC03+FC16"
    timeout_s: Annotated[float, Gt(0), Le(10)] = 0.25
    lockstep_timeout_s: Annotated[float, Gt(0), Le(60)] = 10.0
    input: InputBlock = field(default_factory=lambda: InputBlock(base=0, header="none"))
    output: OutputBlock = field(default_factory=lambda: OutputBlock(base=0, header="none"))
    read: tuple[ReadBlock, ...] = ()
    write: tuple[WriteBlock, ...] = ()
    on_connect: tuple[Setting, ...] = ()
    watchdog: Watchdog | None = None
    pulse: Pulse | None = None
    connections_max: Annotated[int, Ge(1), Le(1000)] = 4

    @property
    def settings(self) -> tuple[Setting, ...]:
        """What is written on every connection: on_connect, then the time of the watchdog."""
        guard = self.watchdog
        if guard is None or guard.register is None:
            return self.on_connect
        words = (min(65535, round(guard.time_s * guard.per_s)),)
        return (*self.on_connect, Setting(text="output watchdog", base=guard.register, values=words))


def absent_checks(device: Device, *, outputs: bool = True) -> tuple[str, ...]:
    """What cannot be checked on this device, as texts for people (empty: everything is). outputs: it has some."""
    missing = []
    if device.input.header == "none":
        missing.append("no scan counter and no heartbeat echo: a frozen device looks alive")
        if outputs:
            missing.append("no status word: a tripped output watchdog is not seen")
    if device.input.header == "none" or device.input.signature is None:
        missing.append("no signature: words out of place are not noticed")
    if device.input.header == "none" or device.input.map_version is None:
        missing.append("no map version: a changed register map is not noticed")
    if outputs and device.output.header == "none":
        missing.append("no heartbeat: an old frame that arrives late is obeyed")
    if outputs and device.watchdog is None:
        stays = "no output watchdog: outputs stay as they are when the controller dies"
        pulse = device.pulse
        missing.append(stays if pulse is None else f"{stays}, save what the relay on {pulse.tag} drops: test it")
    return tuple(missing)
