"""Faults of the wire: scheduled by frames and words for a controller's link, or on the wires of a served panel."""

from __future__ import annotations

from collections.abc import Sequence
from typing import cast

from controller.core.points import Point, of_kind
from controller.link.blocks import READS
from controller.link.device import Device
from controller.link.faulty import FaultyLink, FaultyPanel
from controller.link.image import Image
from controller.link.panel import PanelLink
from controller.link.panelimage import PanelImage
from controller.link.protocol import Link
from controller.link.wirefaults import Fault as WireFault
from controller.link.wirefaults import FaultKind
from plantsim.faults import KINDS, Fault, Places, amount_of, places_of
from plantsim.params import PlantParams
from plantsim.wiredserver import WirePlan

FIRST_TURN = 1  # frame 0 is the first contact, a read: the turn of scan n is frame n + 1


def places(params: PlantParams, points: tuple[Point, ...], image: Image | PanelImage) -> Places:
    """What a chamber and its panel have that a fault may strike."""
    own = places_of(params)
    several = isinstance(image, PanelImage)
    return Places(
        probes=own.probes,
        bays=own.bays,
        doors=own.doors,
        circuits=own.circuits,
        words=[point.tag for point in (*of_kind(points, "AI"), *of_kind(points, "DI"))],
        word_count=0 if several else image.input_count,
        devices=_names(image) if several and len(_names(image)) > 1 else (),
    )


def faulty(
    link: Link, faults: Sequence[Fault], points: tuple[Point, ...], image: Image | PanelImage, dt_s: float
) -> Link:
    """The link as the wire lets it work. Faults that are not of the wire are left aside; without any it is `link`."""
    names = _names(image)
    plans: dict[str, list[tuple[int, WireFault]]] = {name: [] for name in names}
    for fault in faults:
        if KINDS[fault.kind].room != "wire":
            continue
        for name, word in _struck(fault, points, image):
            plans[name].append(_scheduled(fault, word, dt_s))
    plans = {name: plan for name, plan in plans.items() if plan}
    if not plans:
        return link
    if isinstance(link, PanelLink):
        return FaultyPanel(link, plans)
    return FaultyLink(link, plans[names[0]])


def wire_plans(
    faults: Sequence[Fault],
    points: tuple[Point, ...],
    image: Image | PanelImage,
    devices: tuple[Device, ...],
    *,
    lockstep: bool,
) -> tuple[WirePlan, ...]:
    """A wire for each device of a served panel; empty when none of these faults is of the wire."""
    struck = [
        (name, fault)
        for fault in faults
        if KINDS[fault.kind].room == "wire"
        for name, _ in _struck(fault, points, image)
    ]
    plans = []
    for device in devices if struck else ():
        where = {
            point.tag: (READS[point.table], point.address)
            for point in (*of_kind(points, "AI"), *of_kind(points, "DI"))
            if len(devices) == 1 or point.device == device.name
        }
        table, base = READS[device.input.table], device.input.base
        where |= {str(number): (table, base + number) for number in range(image.input_count) if len(devices) == 1}
        timeout_s = device.lockstep_timeout_s if lockstep else device.timeout_s
        mine = tuple(fault for name, fault in struck if name == device.name)
        plans.append(WirePlan(faults=mine, timeout_s=timeout_s, where=where))
    return tuple(plans)


def word_of(tag: str, points: tuple[Point, ...], image: Image | PanelImage) -> tuple[str, int]:
    """(device, number of the word among its own) in which a channel stands; of a longer number the first.

    KeyError for an unknown tag.
    """
    point = next((point for point in points if point.tag == tag), None)
    if point is None:
        raise KeyError(tag)
    if isinstance(image, Image):
        return image.device.name, point.address - image.device.input.base
    member = next(member for member in image.members if member.blocks.device.name == point.device)
    return point.device, image.place(point).word - member.inputs.start


def _names(image: Image | PanelImage) -> list[str]:
    if isinstance(image, PanelImage):
        return [member.blocks.device.name for member in image.members]
    return [image.device.name]


def _struck(fault: Fault, points: tuple[Point, ...], image: Image | PanelImage) -> list[tuple[str, int]]:
    """(device, word) that a fault strikes."""
    if KINDS[fault.kind].target == "word":
        names = _names(image)
        return [(names[0], int(fault.target)) if fault.target.isdigit() else word_of(fault.target, points, image)]
    return [(name, 0) for name in _names(image) if fault.target in ("", name)]


def _scheduled(fault: Fault, word: int, dt_s: float) -> tuple[int, WireFault]:
    first, end = fault.scans(dt_s)
    amount = int(amount_of(fault))
    made = WireFault(
        kind=cast(FaultKind, fault.kind),
        frames=None if end is None else end - first,
        code=amount if fault.kind == "exception" else 4,
        word=word,
        bit=amount if fault.kind == "bit-flip" else 0,
    )
    return first + FIRST_TURN, made
