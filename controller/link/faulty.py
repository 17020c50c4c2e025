"""A link that fails on schedule, and the same for one device of a panel. What can fail: controller.link.wirefaults."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from controller.core.frames import Event
from controller.errors import LinkError
from controller.link.panel import PanelLink
from controller.link.ports import Port
from controller.link.protocol import Link
from controller.link.spoil import Spoiler
from controller.link.wirefaults import Fault, Schedule, Script

__all__ = ["Fault", "FaultyLink", "FaultyPanel", "FaultyPort"]


class FaultyLink:
    """A Link around `link`, for a panel of one device."""

    def __init__(self, link: Link, schedule: Schedule) -> None:
        self._link, self._script = link, Script(schedule)
        self._wire = _Wire(self._script)

    @property
    def counts(self) -> dict[str, int]:
        """Those of the link inside, and with them what was suffered here: errors by kind, silent faults by name."""
        return self._wire.counts_with(self._link.counts)

    def read(self) -> list[int]:
        """The input block, or the fault of the next frame."""
        self._script.advance()
        return self._wire.read(self._link.read, self._link.write)

    def write(self, words: Sequence[int]) -> None:
        """Send the output block, or suffer the fault of this frame."""
        self._wire.write(self._link.write, words)

    def turn(self, words: Sequence[int]) -> list[int]:
        """Send the output block and read the input block, or suffer the fault of the next frame."""
        self._script.advance()
        return self._wire.read(lambda: self._link.turn(words), self._link.write, words)

    def close(self) -> None:
        """Close the link inside."""
        self._link.close()


class FaultyPanel:
    """A Link around a panel of several devices. schedules: by name of the device that suffers."""

    def __init__(self, panel: PanelLink, schedules: Mapping[str, Schedule]) -> None:
        self._panel = panel
        self._scripts = {name: Script(schedule) for name, schedule in schedules.items()}
        panel.through(lambda name, port: FaultyPort(port, self._scripts[name]) if name in self._scripts else port)

    @property
    def counts(self) -> dict[str, int]:
        """By device, as of the panel."""
        return self._panel.counts

    @property
    def tell(self) -> Callable[[Event], None]:
        """As of the panel."""
        return self._panel.tell

    @tell.setter
    def tell(self, tell: Callable[[Event], None]) -> None:
        """As of the panel."""
        self._panel.tell = tell

    def read(self) -> list[int]:
        """The words of all devices in the next frame."""
        self._advance()
        return self._panel.read()

    def write(self, words: Sequence[int]) -> None:
        """Send every device its outputs."""
        self._panel.write(words)

    def turn(self, words: Sequence[int]) -> list[int]:
        """Send all outputs, then read all inputs: the next frame."""
        self._advance()
        return self._panel.turn(words)

    def close(self) -> None:
        """Close every connection."""
        self._panel.close()

    def _advance(self) -> None:
        for script in self._scripts.values():
            script.advance()


class FaultyPort:
    """A Port around `port`. script: advanced by whoever counts the frames."""

    def __init__(self, port: Port, script: Script) -> None:
        self._port, self._wire = port, _Wire(script)

    @property
    def counts(self) -> dict[str, int]:
        """Those of the port inside, and with them what was suffered here."""
        return self._wire.counts_with(self._port.counts)

    def begin(self) -> None:
        """A new exchange; on one that finds nobody there is none."""
        if self._wire.reaches():
            self._port.begin()

    def read(self) -> list[int]:
        """The words of all reads, or the fault of this frame."""
        return self._wire.read(self._port.read, self._port.write)

    def write(self, words: Sequence[int]) -> None:
        """Send all writes, or suffer the fault of this frame."""
        self._wire.write(self._port.write, words)

    def close(self) -> None:
        """Close the port inside."""
        self._port.close()


class _Wire:
    """The exchanges of one device as its faults let them through."""

    def __init__(self, script: Script) -> None:
        self._script, self._spoil = script, Spoiler()
        self._late: Sequence[int] | None = None
        self._counts: dict[str, int] = {}

    def counts_with(self, counts: Mapping[str, int]) -> dict[str, int]:
        own = self._counts
        return {kind: counts.get(kind, 0) + own.get(kind, 0) for kind in (*counts, *own)}

    def reaches(self) -> bool:
        return self._script.kept_away() is None

    def read(
        self, ask: Callable[[], list[int]], send: Callable[[Sequence[int]], None], out: Sequence[int] | None = None
    ) -> list[int]:
        """Reply of this frame as the controller sees it. out: the block that `ask` carries, None = a plain read."""
        script = self._script
        if not script.active and self._late is None:
            return self._spoil((), ask()) or []
        late, self._late = self._late, None
        try:
            self._require_reach(out)
            words = ask()
            if out is not None:
                self._again(send, out)
        finally:
            self._thaw(send, late)
        self._require_good()
        shown = self._spoil(script.active, words)
        if shown is None:
            raise self._counted(LinkError("timeout", f"frame {script.frame}: no earlier reply that could be stale"))
        for fault in script.active:
            self._count(fault.kind)
        return shown

    def write(self, send: Callable[[Sequence[int]], None], words: Sequence[int]) -> None:
        """A block of outputs; its acknowledgement may be wrong too."""
        if not self._script.active and self._late is None:
            send(words)
            return
        late, self._late = self._late, None
        try:
            self._require_reach(words)
            send(words)
            self._again(send, words)
        finally:
            self._thaw(send, late)
        self._require_good()

    def _require_reach(self, out: Sequence[int] | None) -> None:
        fault = self._script.kept_away()
        if fault is None:
            return
        if fault.kind == "late-request" and out is not None:
            self._late = list(out)
        trouble = fault.error(self._script.frame)
        assert trouble is not None  # whatever keeps a request away is seen
        raise self._counted(trouble)

    def _again(self, send: Callable[[Sequence[int]], None], words: Sequence[int]) -> None:
        if any(fault.kind == "duplicated" for fault in self._script.active):
            send(words)

    def _thaw(self, send: Callable[[Sequence[int]], None], late: Sequence[int] | None) -> None:
        """Deliver a block that was held up; nobody waits for its answer any more."""
        if late is not None:
            self._count("late-request")
            send(late)

    def _require_good(self) -> None:
        trouble = self._script.error()
        if trouble is not None:
            raise self._counted(trouble)

    def _counted(self, trouble: LinkError) -> LinkError:
        self._count(trouble.kind)
        return trouble

    def _count(self, kind: str) -> None:
        self._counts[kind] = self._counts.get(kind, 0) + 1
