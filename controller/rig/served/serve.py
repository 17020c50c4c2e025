"""The simulated chamber served to others over Modbus TCP until it is told to stop; truth into a file meanwhile."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence

from controller.errors import UnavailableError
from controller.rig.faults.telling import Teller
from controller.rig.plant import Plant
from controller.rig.served.truthfile import TruthFile
from controller.rig.truth import Rows
from plantsim.fieldserver import FieldServer
from plantsim.server import Server
from plantsim.wiredserver import WiredServer, WirePlan

LOOPBACK = "127.0.0.1"
LOOK_EVERY_S = 0.5  # how often truth is written and the log of the model emptied


Served = Server | FieldServer | WiredServer


def listen(
    plant: Plant, host: str, port: int | Sequence[int], pace: float, wires: Sequence[WirePlan] = ()
) -> Served:
    """A server that has begun to listen. port: or one for each device. UnavailableError when they cannot be had.

    wires: what happens to the wire of each device; empty for good wires.
    """
    ports = [port] if isinstance(port, int) else list(port)
    at, places = (LOOPBACK, [0] * len(ports)) if wires else (host, ports)
    inner: Server | FieldServer = (
        FieldServer(plant.device, plant.field, at, places, pace=pace)
        if plant.field
        else Server(plant.device, at, places[0], pace=pace)
    )
    server: Served = WiredServer(inner, plant.device, wires, host, ports) if wires else inner
    try:
        server.start()
    except OSError as error:
        raise UnavailableError(str(error.strerror or error)) from None
    return server


def serve(
    plant: Plant,
    server: Served,
    truth: TruthFile | None,
    ended: threading.Event,
    teller: Teller | None = None,
    add: Callable[[Rows], None] | None = None,
) -> None:
    """Until `ended` is set. The log of the model is emptied now and then: into the file, to whom `add` is, or away.

    teller: says what begins and is over; as it is looked at only now and then, up to LOOK_EVERY_S late.
    """
    goes_on = True
    while goes_on:
        goes_on = not ended.wait(LOOK_EVERY_S)
        with server.lock:
            rows = plant.log.take()
            scans = plant.device.scans
        if teller is not None:
            teller.before(scans)
        if truth is not None:
            truth.add(rows)
        if add is not None:
            add(rows)
