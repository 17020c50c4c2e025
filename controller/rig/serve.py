"""The simulated chamber served to others over Modbus TCP until it is told to stop; truth into a file meanwhile."""

from __future__ import annotations

import threading

from controller.errors import UnavailableError
from controller.rig.plant import Plant
from controller.rig.truthfile import TruthFile
from plantsim.server import Server

LOOK_EVERY_S = 2.0  # how often truth is written and the log of the model emptied


def listen(plant: Plant, host: str, port: int, pace: float) -> Server:
    """A server that has begun to listen. Raises UnavailableError when host and port cannot be had."""
    server = Server(plant.device, host, port, pace=pace)
    try:
        server.start()
    except OSError as error:
        raise UnavailableError(str(error.strerror or error)) from None
    return server


def serve(plant: Plant, server: Server, truth: TruthFile | None, ended: threading.Event) -> None:
    """Until `ended` is set. The log of the model is emptied now and then: into the file, or away."""
    goes_on = True
    while goes_on:
        goes_on = not ended.wait(LOOK_EVERY_S)
        with server.lock:
            rows = plant.log.take()
        if truth is not None:
            truth.add(rows)
