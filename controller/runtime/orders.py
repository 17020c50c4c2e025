"""Where commands come from. All sources look alike to the loop: `due(scan) -> commands`."""

from __future__ import annotations

from collections.abc import Iterable

from controller.core.frames import Command
from controller.core.orders.commands import Orders


class ScriptOrders:
    """Commands fixed beforehand, each for one scan; those of one scan keep their order."""

    def __init__(self, script: Iterable[tuple[int, Command]] = ()) -> None:
        by_scan: dict[int, list[Command]] = {}
        for scan, command in script:
            by_scan.setdefault(scan, []).append(command)
        self._by_scan = {scan: tuple(commands) for scan, commands in by_scan.items()}

    def due(self, scan: int) -> tuple[Command, ...]:
        """Commands of this scan."""
        return self._by_scan.get(scan, ())


class MergedOrders:
    """Several sources as one, in the order given."""

    def __init__(self, *sources: Orders) -> None:
        self._sources = sources

    def due(self, scan: int) -> tuple[Command, ...]:
        """Commands of every source for this scan."""
        return tuple(command for source in self._sources for command in source.due(scan))
