"""Field devices on sockets: Modbus TCP around a panel of several, each on a port of its own, one lock around all.

Functions 01 to 04, 15 (0Fh) and 16 (10h). Framing as for the single panel. Limits and bit order: MODBUS Application
Protocol Specification V1.1b3, sections 6.1 to 6.4, 6.11 and 6.12.
"""

from __future__ import annotations

import logging
import struct
import threading
from collections.abc import Callable, Sequence

from plantsim.field import (
    COILS,
    DEVICE_FAILURE,
    DISCRETE,
    HOLDING,
    ILLEGAL_FUNCTION,
    ILLEGAL_VALUE,
    INPUT,
    WRITE_COILS,
    WRITE_REGISTERS,
    FieldDevice,
    RefusedError,
)
from plantsim.remote_io import RemoteIo
from plantsim.server import Listener, Ticker

log = logging.getLogger(__name__)

_HEAD = struct.Struct(">HH").unpack_from
_WRITE_HEAD = struct.Struct(">HHB").unpack_from
_REGISTERS_MAX, _BITS_MAX, _WRITE_REGISTERS_MAX, _WRITE_BITS_MAX = 125, 2000, 123, 1968


class FieldServer:
    """Serves the devices of one panel. In lockstep the chamber moves only with a heartbeat; else a thread ticks it.

    ports: where each device is after start(), in their order; 0 takes any free one.
    """

    def __init__(
        self, io: RemoteIo, devices: Sequence[FieldDevice], host: str, ports: Sequence[int], *, pace: float = 1.0
    ) -> None:
        self.lock = threading.Lock()  # held while a request or a tick is at work
        self.host, self.ports = host, list(ports)
        self._io, self._devices = io, list(devices)
        self._ticker = Ticker(io, self.lock, pace)
        self._listeners: list[Listener] = []

    def start(self) -> list[int]:
        """Compile the model, listen, return the ports. OSError when one cannot be had; then none is."""
        self._io.prepare()
        try:
            for number, device in enumerate(self._devices):
                listener = Listener(
                    self.host, self.ports[number], self._reply(device), device.setup.connections_max
                )
                self.ports[number] = listener.listen()
                self._listeners.append(listener)
        except OSError:
            self.stop()
            raise
        if not self._io.lockstep:
            self._ticker.start()
        return self.ports

    def stop(self) -> None:
        """Close every connection and free the ports; the chamber stays as it is."""
        self._ticker.stop()
        while self._listeners:
            self._listeners.pop().close()

    def lose(self, name: str) -> None:
        """Take one device off the network, as when its power fails."""
        for number, device in enumerate(self._devices):
            if device.name == name:
                self._listeners[number].close()

    @property
    def port(self) -> int:
        """Port of the first device."""
        return self.ports[0]

    @property
    def peers(self) -> list[str]:
        """Who is connected to any of the devices, as address:port."""
        return [peer for listener in self._listeners for peer in listener.peers]

    def _reply(self, device: FieldDevice) -> Callable[[bytes], bytes]:
        def reply(pdu: bytes) -> bytes:
            try:
                with self.lock:
                    return answer(device, pdu)
            except Exception:
                log.exception("the simulated device %s failed on a request %s", device.name, pdu.hex())
                return bytes((pdu[0] | 0x80, DEVICE_FAILURE))

        return reply


def answer(device: FieldDevice, pdu: bytes) -> bytes:
    """Response PDU, an exception response where the request is not in order."""
    function = pdu[0]
    try:
        if function in (COILS, DISCRETE, HOLDING, INPUT):
            return _read(device, function, pdu)
        if function in (WRITE_COILS, WRITE_REGISTERS):
            return _write(device, function, pdu)
    except RefusedError as refused:
        return bytes((function | 0x80, refused.code))
    return bytes((function | 0x80, ILLEGAL_FUNCTION))


def _read(device: FieldDevice, function: int, pdu: bytes) -> bytes:
    if len(pdu) != 5:
        raise RefusedError(ILLEGAL_VALUE)
    base, count = _HEAD(pdu, 1)
    bits = function in (COILS, DISCRETE)
    if not 1 <= count <= (_BITS_MAX if bits else _REGISTERS_MAX):
        raise RefusedError(ILLEGAL_VALUE)
    values = device.read(function, base, count)
    if not bits:
        return struct.pack(f">BB{count}H", function, 2 * count, *values)
    size = -(-count // 8)
    packed = sum(bit << n for n, bit in enumerate(values))
    return bytes((function, size)) + packed.to_bytes(size, "little")


def _write(device: FieldDevice, function: int, pdu: bytes) -> bytes:
    if len(pdu) < 6:
        raise RefusedError(ILLEGAL_VALUE)
    base, count, size = _WRITE_HEAD(pdu, 1)
    bits = function == WRITE_COILS
    wanted = -(-count // 8) if bits else 2 * count
    most = _WRITE_BITS_MAX if bits else _WRITE_REGISTERS_MAX
    if not (1 <= count <= most and size == wanted == len(pdu) - 6):
        raise RefusedError(ILLEGAL_VALUE)
    if bits:
        packed = int.from_bytes(pdu[6:], "little")
        values = [packed >> n & 1 for n in range(count)]
    else:
        values = list(struct.unpack_from(f">{count}H", pdu, 6))
    device.write(function, base, values)
    return pdu[:5]
