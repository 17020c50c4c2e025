"""The link to a panel of several devices: one exchange with each, their words one after the other.

A device that fails ages alone: its last words stay, and the word in front of them says for how many scans. The loop
sees words in every scan; what a silent device means is decided where its channels are judged and by protection.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import replace
from threading import Lock
from typing import Final

from controller.core.frames import Event, RawInputs
from controller.errors import LinkError
from controller.link.blocks import Blocks
from controller.link.liveness import Liveness, watch
from controller.link.panelimage import Member, PanelImage
from controller.link.ports import ModbusPort, Port

AGE_MAX: Final = 65535  # also the age of a device that has never answered


class PanelLink:
    """A Link over `ports`, one a device in the order of the image.

    The first read raises LinkError when a device with outputs does not answer; later nothing does. tell: is given an
    event whenever a device falls silent, is doubted or answers again. counts: "device kind" -> how often.
    """

    def __init__(self, image: PanelImage, ports: Sequence[Port], *, lockstep: bool) -> None:
        self.notices: deque[Event] = deque(maxlen=1000)
        self.tell: Callable[[Event], None] = self.notices.append
        self._members = [
            _Device(member, port, number in image.driving, lockstep)
            for number, (member, port) in enumerate(zip(image.members, ports, strict=True))
        ]
        # The heartbeat goes last: a simulated panel lives when it comes, with all other outputs in place.
        self._writers = sorted(
            (member for member in self._members if member.blocks.writes),
            key=lambda member: member.blocks.header_out is not None,
        )
        self._met = False
        self._lock = Lock()

    @property
    def counts(self) -> dict[str, int]:
        """Exchanges and every kind of failure, by device."""
        return {
            f"{member.blocks.device.name} {kind}": count
            for member in self._members
            for kind, count in {**member.port.counts, **member.doubts}.items()
        }

    def through(self, wrap: Callable[[str, Port], Port]) -> None:
        """Lead the exchanges with every device through what wrap(its name, its port) returns."""
        for member in self._members:
            member.port = wrap(member.blocks.device.name, member.port)

    def read(self) -> list[int]:
        """The words of all devices, those of silent ones as they were."""
        with self._lock:
            return self._read()

    def peek(self) -> list[int]:
        """What all devices show now, believed or not; nothing is remembered of it. Words of a device without outputs
        that is silent are 0; of another one LinkError is raised."""
        with self._lock:
            shown: list[int] = []
            for member in self._members:
                try:
                    member.port.begin()
                    shown += member.port.read()
                except LinkError:
                    if member.driving:
                        raise
                    shown += [0] * member.blocks.input_count
            return [0] * len(self._members) + shown

    def write(self, words: Sequence[int]) -> None:
        """Send every device its outputs. A device that does not take them ages from the next read on."""
        with self._lock:
            for member in self._writers:
                member.send(words)

    def turn(self, words: Sequence[int]) -> list[int]:
        """Send all outputs, then read all inputs."""
        with self._lock:
            for member in self._writers:
                member.send(words)
            return self._read()

    def close(self) -> None:
        """Close every connection."""
        for member in self._members:
            member.port.close()

    def _read(self) -> list[int]:
        members = self._members
        for member in members:
            news = member.refresh()
            if news is not None:
                self.tell(news)
        if not self._met:
            for member in members:
                if member.driving and member.trouble is not None:
                    raise member.trouble
            self._met = True
        words = [member.age for member in members]
        for member in members:
            words += member.words
        return words


class _Device:
    """One device of the panel: its last words, their age, and what is wrong with it (None = nothing)."""

    def __init__(self, member: Member, port: Port, driving: bool, lockstep: bool) -> None:
        self.blocks: Blocks = member.blocks
        self.port = port
        self.driving = driving
        self.words = [0] * member.blocks.input_count
        self.age = AGE_MAX
        self.trouble: LinkError | None = None
        self.doubts: dict[str, int] = {}
        self._part = member.outputs
        self._lockstep = lockstep
        self._liveness: Liveness | None = None
        self._written: int | None = None
        self._unsent: LinkError | None = None

    def send(self, words: Sequence[int]) -> None:
        """Its part of the outputs; a failure is kept for the next refresh."""
        mine = words[self._part]
        if self.blocks.header_out is not None:
            self._written = mine[self.blocks.header_out]
        try:
            self.port.begin()
            self.port.write(mine)
        except LinkError as trouble:
            self._unsent = trouble
        else:
            self._unsent = None

    def refresh(self) -> Event | None:
        """Read it. An event when it falls silent, or answers again."""
        trouble = self._unsent
        if trouble is None or not self._lockstep:
            try:
                self.port.begin()
                fresh = self.port.read()
                self._require_header(fresh)
            except LinkError as error:
                trouble = trouble or error
            else:
                if trouble is None:
                    self.words = fresh
        before, self.trouble = self.trouble, trouble
        name, age = self.blocks.device.name, self.age
        if trouble is None:
            self.age = 0
            if before is None:
                return None
            return Event("link", "LINK", f"{name} answers again after {age} scans", (("device", name), ("scans", age)))
        self.age = min(age + 1, AGE_MAX)
        if before is not None:
            return None
        return Event("link", "LINK", f"{name}: {trouble}", (("device", name), ("kind", trouble.kind)))

    def _require_header(self, words: Sequence[int]) -> None:
        """Signature, map and life of a device with a header. Raises LinkError."""
        at = self.blocks.header_in
        if at is None:
            return
        device = self.blocks.device
        signature, version, high, low, _, echo = words[at : at + 6]
        asked = device.input
        if asked.signature is not None and signature != asked.signature:
            text = f"shows signature 0x{signature:04X}, expected 0x{asked.signature:04X}: another device or map"
            raise self._doubt("wrong-signature", text)
        if asked.map_version is not None and version != asked.map_version:
            raise self._doubt("wrong-map-version", f"shows map version {version}, expected {asked.map_version}")
        raw = RawInputs((), (), counter=high << 16 | low, echo=echo)
        written = self._written if self.blocks.header_out is not None else None
        if self._lockstep and written is None:  # its time is moved by another device, or nothing was sent yet
            self._liveness, reasons = watch(Liveness(), raw, None, lockstep=True)
        else:
            self._liveness, reasons = watch(self._liveness or Liveness(), raw, written, lockstep=self._lockstep)
        if reasons:
            raise self._doubt("not-alive", "; ".join(reasons))

    def _doubt(self, kind: str, text: str) -> LinkError:
        self.doubts[kind] = self.doubts.get(kind, 0) + 1
        return LinkError(kind, f"{self.blocks.device.host}:{self.blocks.device.port} {text}")


def modbus_panel(
    image: PanelImage, *, lockstep: bool = False, places: Sequence[tuple[str, int]] = ()
) -> PanelLink:
    """The panel of an image over Modbus TCP. places: (host, port) of each device, if not where its file says."""
    blocks = [member.blocks for member in image.members]
    if places:
        blocks = [
            replace(block, device=replace(block.device, host=host, port=port))
            for block, (host, port) in zip(blocks, places, strict=True)
        ]
    return PanelLink(image, [ModbusPort(block, lockstep=lockstep) for block in blocks], lockstep=lockstep)
