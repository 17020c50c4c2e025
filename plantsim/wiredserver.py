"""A simulated panel behind bad wires: its server on loopback, and before each device a wire with its own faults."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from plantsim.faults import Fault
from plantsim.fieldserver import FieldServer
from plantsim.frames import Where
from plantsim.remote_io import RemoteIo
from plantsim.server import Server
from plantsim.wire import Wire


@dataclass(frozen=True, slots=True, kw_only=True)
class WirePlan:
    """What happens to the wire of one device. timeout_s: of whoever controls it. where: as of a Wire."""

    faults: tuple[Fault, ...] = ()
    timeout_s: float = 0.25
    where: Where | None = None


class WiredServer:
    """A server as it is seen over its wires. plans, ports: a wire for each device, in their order.

    The time of the faults is the device's, in scans. In lockstep that stands still while nothing reaches the device,
    so each write that is kept away counts as a scan; a refused connection is one that is reset at its request then.
    """

    def __init__(
        self, server: Server | FieldServer, io: RemoteIo, plans: Sequence[WirePlan], host: str, ports: Sequence[int]
    ) -> None:
        self.host, self.ports = host, list(ports)
        self._server, self._io, self._plans = server, io, plans
        self.wires: list[Wire] = []

    @property
    def lock(self) -> threading.Lock:
        """As of the server."""
        return self._server.lock

    @property
    def port(self) -> int:
        """Port of the first device."""
        return self.ports[0]

    def start(self) -> list[int]:
        """Listen; return the ports. OSError when one cannot be had; then none is."""
        self._server.start()
        try:
            for number, (plan, inner) in enumerate(zip(self._plans, self._server.ports, strict=True)):
                wire = Wire(
                    (self._server.host, inner),
                    self._due(plan),
                    host=self.host,
                    port=self.ports[number],
                    timeout_s=plan.timeout_s,
                    where=plan.where,
                    refuses=not self._io.lockstep,
                )
                self.ports[number] = wire.start()
                self.wires.append(wire)
        except OSError:
            self.stop()
            raise
        return self.ports

    def stop(self) -> None:
        """Cut every connection and free the ports; the chamber stays as it is."""
        while self.wires:
            self.wires.pop().stop()
        self._server.stop()

    @property
    def peers(self) -> list[str]:
        """Who is connected to any of the wires, as address:port."""
        return [peer for wire in self.wires for peer in wire.peers]

    @property
    def now(self) -> int:
        """Scans so far, by which the faults go."""
        kept = max((wire.kept for wire in self.wires), default=0) if self._io.lockstep else 0
        return self._io.scans + kept

    def _due(self, plan: WirePlan) -> Callable[[int], tuple[Fault, ...]]:
        spans = [(*fault.scans(self._io.dt_s), fault) for fault in plan.faults]

        def due(_number: int) -> tuple[Fault, ...]:
            now = self.now
            return tuple(fault for first, end, fault in spans if first <= now and (end is None or now < end))

        return due
