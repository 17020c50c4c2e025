"""Which image and which link a set of devices takes: the quickest that will do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from controller.core.points import Point
from controller.link.blocks import is_plain
from controller.link.device import Device
from controller.link.image import Image
from controller.link.modbus import ModbusLink
from controller.link.panel import modbus_panel
from controller.link.panelimage import PanelImage
from controller.link.protocol import Link


def image_of(points: tuple[Point, ...], devices: tuple[Device, ...]) -> Image | PanelImage:
    """Where every point stands. Raises ConfigError with every clash at once."""
    if len(devices) == 1 and is_plain(points, devices[0]):
        return Image(points, devices[0])
    return PanelImage(points, devices)


def modbus_link(
    image: Image | PanelImage, *, lockstep: bool = False, places: Sequence[tuple[str, int]] = ()
) -> Link:
    """The link over Modbus TCP to the devices of an image. places: (host, port) of each, if not where its file says."""
    if isinstance(image, PanelImage):
        return modbus_panel(image, lockstep=lockstep, places=places)
    device = image.device
    for host, port in places:
        device = replace(device, host=host, port=port)
    return ModbusLink(
        device, input_count=image.input_count, output_count=image.output_count, lockstep=lockstep
    )
