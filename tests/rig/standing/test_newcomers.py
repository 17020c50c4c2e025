"""The estimate of what newcomers do to their cells, against the chamber model, which mixes its air cell by cell."""

from __future__ import annotations

import pytest

from controller.config.bundle import load_site
from controller.core.outlook.newcomers import Around, Newcomers, Trip, worst
from controller.link.device import Device
from controller.link.layout import require_layout
from controller.rig.plant import build, scene
from plantsim.filling import Batch
from plantsim.kernel import layout as at


@pytest.mark.parametrize(
    ("chamber", "fan_pct", "flow", "levels", "degC"),
    [
        ("demo-north", 100.0, 12.0, (1, 2, 3), 20.0),
        ("demo-north", 100.0, 12.0, (4, 5, 6), 26.0),
        ("demo-north", 75.0, 9.0, (7,), 20.0),
        ("demo-standing", 80.0, 24.0, (1, 2, 3), 20.0),
        ("demo-standing", 80.0, 24.0, (10, 11, 12), 26.0),
    ],
)
def test_the_estimated_fall_is_never_less_than_the_models_nor_far_from_it(
    chamber: str, fan_pct: float, flow: float, levels: tuple[int, ...], degC: float
) -> None:
    """A quarter of an hour after old product at 32 degC was exchanged for cold, no door, no control: the coldest cell
    of the bay below the mean of the others. The estimate also stands for the trip before and the air of the door, so
    alone it is on the safe side: measured 0.99, 0.50, 0.52, 0.65, 0.33 K against 2.1, 1.2, 0.9, 1.0, 0.55 K."""
    site = load_site(chamber, device_class=Device, layout=require_layout)
    whole = scene(plant=chamber, mix_degC=32.0, outdoor=((32.0, 90.0),), dt_s=2.0)
    plant = build(whole, site.points, site.devices, lockstep=True)
    plant.chamber.start(32.0, 95.0)
    idle = (1.0, fan_pct, *[0.0] * 11)
    for _ in range(150):
        plant.log.step(idle)
    for level in levels:
        plant.chamber.take(2, level)
        plant.chamber.place(2, level, Batch(5.0 / 3.0, degC))
    for _ in range(480):
        plant.log.step(idle)
    T = plant.chamber.state.air[at.AIR_T].reshape(6, 12)
    measured = float(T[[0, 2, 3, 4, 5]].mean() - T[1].min())
    file = site.chamber
    what = Newcomers(forecast=file.forecast, product=file.product, thermal=file.temperature)
    trip = Trip(time_s=0.0, shut_s=60.0, bay=2, places=((5.0 / 3.0, degC),) * len(levels))
    pull = worst(what, [trip], Around(temperature_degC=32.0, rh_pct=95.0, flow_kg_per_s=flow, bays=6))
    assert pull is not None
    assert measured < pull.fall_K < 2.5 * measured
