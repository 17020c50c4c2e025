"""What faults may strike in a chamber: the places of its model and of the panel that its files name."""

from __future__ import annotations

from controller.config.bundle import load_site
from controller.config.find import find
from controller.link.device import Device
from controller.link.layout import require_layout
from controller.link.reach import image_of
from controller.rig.faults.wires import places
from plantsim.faults import Places
from plantsim.params import PlantParams


def struck_in(chamber: str, params: PlantParams) -> Places:
    """Places of a chamber (name or file) with this model of it. Raises ConfigError."""
    site = load_site(find("chamber", chamber), device_class=Device, layout=require_layout)
    return places(params, site.points, image_of(site.points, site.devices))
