"""The device file (configs/devices/*.toml): where a panel is, what its two blocks carry, what to expect of it."""

from __future__ import annotations

from dataclasses import dataclass
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
    signature, map_version: what the first two words must be; absent = not checked.
    """

    base: Word
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
    """What the device does on its own: no fresh heartbeat for time_s and every output goes to its safe value."""

    time_s: Annotated[float, Gt(0), Le(600)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """One Modbus TCP device.

    host: best an IP address: looking up a name is not covered by timeout_s.
    turn: "FC23" (17h) writes and reads in one round trip; "FC03+FC16" writes, then reads.
    timeout_s: for one exchange from connecting to the last byte of the reply.
    lockstep_timeout_s: the same for a simulated device that advances only when it is written.
    """

    name: Annotated[str, Len(1, 64)]
    host: Annotated[str, Len(1, 253)]
    port: Annotated[int, Ge(1), Le(65535)] = 502
    unit_id: Annotated[int, Ge(0), Le(255)] = 255
    turn: Literal["FC23", "FC03+FC16"] = "FC03+FC16"
    timeout_s: Annotated[float, Gt(0), Le(10)] = 0.25
    lockstep_timeout_s: Annotated[float, Gt(0), Le(60)] = 10.0
    input: InputBlock
    output: OutputBlock
    watchdog: Watchdog | None = None


def absent_checks(device: Device) -> tuple[str, ...]:
    """What cannot be checked on this device, as texts for people (empty: everything is)."""
    missing = []
    if device.input.header == "none":
        missing.append("no scan counter and no heartbeat echo: a frozen device looks alive")
        missing.append("no status word: a tripped output watchdog is not seen")
    if device.input.header == "none" or device.input.signature is None:
        missing.append("no signature: words out of place are not noticed")
    if device.input.header == "none" or device.input.map_version is None:
        missing.append("no map version: a changed register map is not noticed")
    if device.output.header == "none":
        missing.append("no heartbeat: an old frame that arrives late is obeyed")
    if device.watchdog is None:
        missing.append("no output watchdog: outputs stay as they are when the controller dies")
    return tuple(missing)
