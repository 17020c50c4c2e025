"""The simulated chamber served to others over Modbus TCP until it is told to stop; truth into a file meanwhile."""

from __future__ import annotations

import threading
from collections.abc import Sequence

from controller.errors import UnavailableError
from controller.rig.plant import Plant
from controller.rig.truthfile import TruthFile
from plantsim.fieldserver import FieldServer
from plantsim.server import Server

LOOK_EVERY_S = 2.0  # how often truth is written and the log of the model emptied


def listen(plant: Plant, host: str, port: int | Sequence[int], pace: float) -> Server | FieldServer:
    """A server that has begun to listen. port: or one for each device. UnavailableError when they cannot be had."""
    ports = [port] if isinstance(port, int) else port
    server: Server | FieldServer = (
        FieldServer(plant.device, plant.field, host, ports, pace=pace)
        if plant.field
        else Server(plant.device, host, ports[0], pace=pace)
    )
    try:
        server.start()
    except OSError as error:
        raise UnavailableError(str(error.strerror or error)) from None
    return server


def serve(plant: Plant, server: Server | FieldServer, truth: TruthFile | None, ended: threading.Event) -> None:
    """Until `ended` is set. The log of the model is emptied now and then: into the file, or away."""
    goes_on = True
    while goes_on:
        goes_on = not ended.wait(LOOK_EVERY_S)
        with server.lock:
            rows = plant.log.take()
        if truth is not None:
            truth.add(rows)
