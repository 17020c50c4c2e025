"""A device by other hands: the server of pymodbus, in a thread of its own."""

from __future__ import annotations

import asyncio
import threading

from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

INPUTS = [0x5A1E, 1, 0, 9, 4, 77, 0, 65535, *range(4000, 4040)]
OUT = [78, 1000, 5000, 0, 10000, 0xFFFF]


class PeerServer:
    """Listens from `open` to `close`, at `port`; opened again at the same place, everything is as it was."""

    def __init__(self, device: SimDevice) -> None:
        self._device = device
        self.port = 0
        self.open()

    def open(self) -> None:
        self._loop = asyncio.new_event_loop()
        self._ready = threading.Event()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()
        assert self._ready.wait(10.0)

    def close(self) -> None:
        if self._thread.is_alive():
            asyncio.run_coroutine_threadsafe(self._server.shutdown(), self._loop).result(10.0)
            self._loop.call_soon_threadsafe(self._loop.stop)
            self._thread.join(10.0)
            self._loop.close()

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        self._loop.run_until_complete(self._start())
        self._loop.run_forever()

    async def _start(self) -> None:
        self._server = ModbusTcpServer(self._device, address=("127.0.0.1", self.port))
        await self._server.serve_forever(background=True)
        self.port = self._server.transport.sockets[0].getsockname()[1]  # type: ignore[union-attr]
        self._ready.set()


def plain_device() -> SimDevice:
    """Inputs at 0..47, outputs at 256..261, nothing else."""
    blocks = [
        SimData(0, values=INPUTS, datatype=DataType.REGISTERS),
        SimData(256, values=[0] * 6, datatype=DataType.REGISTERS),
    ]
    return SimDevice(id=255, simdata=blocks)
