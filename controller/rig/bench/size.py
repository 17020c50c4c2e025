"""What a step costs in larger chambers, and how fast the chamber model is alone, with the outputs of a recorded day."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace

from controller.config.find import find
from controller.rig import modelfiles
from controller.rig.bench.rows import Found, Measured, Target
from controller.rig.bench.speed import OUTDOOR
from controller.rig.cycle import Ran
from controller.rig.plant import build, scene
from controller.store.reader import Reader
from plantsim.chamber import Chamber
from plantsim.params import PlantParams
from plantsim.weather import Weather

LARGE, DEEP = "12 bays x 16 levels", "front to back in 3 cells"
ALONE = "24 h of the model alone, times real time"
TARGETS = (
    Target(name=f"model step, {LARGE}, per cell over that of 72 cells", unit="x", must=1.15),
    Target(name=f"model step, {DEEP}, per cell", unit="ns", must=208.0),  # the 15 us that 72 cells may take
)
ALONE_TARGETS = (Target(name=ALONE, unit="x", must=60_000.0, at_least=True),)
OUTPUTS = (1.0, 75.0, 1.0, 40.0, 0.0, 0.0, 0.0, 1.0)
BATCHES, STEPS = 60, 200


def size_figures() -> Found:
    """Rows of TARGETS. Chambers take turns, so that a slow moment of the machine strikes all of them."""
    usual = modelfiles.read(find("plant", "demo-north")).value
    chambers = [_chamber(params) for params in (usual, large(usual), deep(usual))]
    cells = [chamber.state.air.shape[1] for chamber in chambers]
    taken = [[_step_ns(chamber) for chamber in chambers] for _ in range(BATCHES)]
    of_72, of_large, of_deep = (min(times) / n for times, n in zip(zip(*taken, strict=True), cells, strict=True))
    words = (f"{each:.0f} ns a cell in {n} cells" for each, n in ((of_large, cells[1]), (of_72, cells[0])))
    return {
        TARGETS[0].name: Measured(value=of_large / of_72, note=", ".join(words)),
        TARGETS[1].name: Measured(value=of_deep, note=f"{cells[2]} cells, {1e-3 * of_deep * cells[2]:.1f} us"),
    }


def large(usual: PlantParams) -> PlantParams:
    """12 bays of 16 levels as those of the usual chamber are: racks, load, drives and losses grow with them."""
    room = usual.room
    bays, levels = 12 / room.bays, 16 / room.levels
    places = bays * levels
    racks, product = usual.racks, usual.product
    return replace(
        usual,
        room=replace(
            room, bays=12, levels=16, width_m=room.width_m * bays, height_m=room.height_m * levels,
            dry_air_kg=room.dry_air_kg * places, leak_kg_per_s=room.leak_kg_per_s * places,
        ),
        racks=replace(racks, boards_kg=racks.boards_kg * places, steel_kg=racks.steel_kg * places),
        product=replace(product, nominal_t=product.nominal_t * places),
        fan=replace(usual.fan, full_kg_per_s=usual.fan.full_kg_per_s * places,
                    rated_kg_per_s=usual.fan.rated_kg_per_s * places, rated_kW=usual.fan.rated_kW * places),
    )  # fmt: skip


def deep(usual: PlantParams) -> PlantParams:
    """The usual chamber with front, middle and back."""
    return replace(usual, room=replace(usual.room, depth_cells=3))


def alone_figures(ran: Ran) -> Found:
    """Rows of ALONE_TARGETS: the day of `ran` lived again by the model alone, to the same state at its end."""
    orders = _orders(ran)
    built = build(ran.options.scene, ran.bundle.points, ran.bundle.devices, lockstep=True)
    chamber = built.chamber
    chamber.compile()
    begin, cpu = time.perf_counter(), time.thread_time()
    for outputs in orders:
        chamber.step(outputs)
    took_s, cpu_s = time.perf_counter() - begin, time.thread_time() - cpu
    if chamber.truth_row != ran.plant.log.known()[len(orders) - 1].tolist():
        return {ALONE: Measured(value=None, note="the model alone ends in another state than in its cycle")}
    note = f"{len(orders)} steps with the outputs of a recorded cycle, in {took_s:.2f} s, {cpu_s:.2f} s of CPU"
    return {ALONE: Measured(value=len(orders) * chamber.dt_s / took_s, note=note)}


def _orders(ran: Ran) -> Sequence[tuple[float, ...]]:
    """What every actuator got, scan by scan, out of the record."""
    built = build(ran.options.scene, ran.bundle.points, ran.bundle.devices, lockstep=True)
    orders = []
    with Reader(ran.options.out / "record.sqlite") as reader:
        for frame in reader.frames():
            built.device.write(frame.outputs)
            orders.append(built.device.orders)
    return orders


def _chamber(params: PlantParams) -> Chamber:
    charge = scene(tonnes=params.product.nominal_t).charge
    chamber = Chamber(params, charge=charge, weather=Weather.constant(*OUTDOOR[0]), seed=1)
    chamber.step(OUTPUTS)
    return chamber


def _step_ns(chamber: Chamber) -> float:
    begin = time.thread_time_ns()
    for _ in range(STEPS):
        chamber.step(OUTPUTS)
    return (time.thread_time_ns() - begin) / STEPS
