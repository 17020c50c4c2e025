"""From valid files to a plan of the scan: every module bound once, before the first scan."""

from __future__ import annotations

from controller.config.chamber import ChamberFile
from controller.core.actuation import actuation
from controller.core.alarms import alarms
from controller.core.climate import climate, siblings
from controller.core.hand import points as hand_points
from controller.core.hand import register as by_hand
from controller.core.invariants import invariants
from controller.core.loops import allocation, constraints
from controller.core.points import Point, of_kind
from controller.core.product import charges, product
from controller.core.product.mix import Mix
from controller.core.protection import protection
from controller.core.rows.protection import ROWS
from controller.core.scan import ScanPlan
from controller.core.sequence import sequence, setaside
from controller.core.sequence.recipe import Recipe, keeps_places
from controller.core.signals import frozen, signals
from controller.core.upkeep import upkeep


def bind(
    chamber: ChamberFile,
    points: tuple[Point, ...],
    recipe: Recipe,
    mix: Mix,
    *,
    load_t: float,
    empty_bays: tuple[int, ...] = (),
    dt_s: float = 1.0,
    mixes: tuple[Mix, ...] = (),
    empty: bool = False,
) -> ScanPlan:
    """The plan of one cycle in one chamber. load_t: tonnes of fresh product, on which gains are scheduled. mixes:
    others than `mix` that single charges may be of. empty: no boards stand there yet, each is entered as it comes."""
    actuators = chamber.actuation
    occupied = tuple(bay not in empty_bays for bay in range(1, chamber.bays + 1) for _ in range(chamber.levels))
    guard = protection.bind(chamber.protection, points, chamber.heat.kind)
    watched = climate.bind(chamber.climate, points, chamber.bays, chamber.levels, empty_bays)
    racks = product.bind(
        chamber.product, mix, points, chamber.bays, chamber.levels, occupied, chamber.climate.pairs,
        chamber.climate.pressure_Pa,
    )
    steps = sequence.bind(chamber.sequence, recipe, chamber.limits, chamber.fan.flow_kg_per_s_at_full)
    drives = actuation.bind(actuators, points)
    told = alarms.bind(chamber.alarms, points, guard.rows[len(ROWS) :], chamber.heat.kind, drives)
    return ScanPlan(
        dt_s=dt_s,
        signals=signals.bind(chamber.signals, points),
        frozen=frozen.bind(chamber.frozen, points, chamber.signals.offset),
        climate=watched,
        sequence=steps,
        constraints=constraints.bind(chamber.constraints, chamber.heat.capacity_kW),
        allocation=allocation.bind(chamber.temperature, chamber.moisture, actuators, load_t=load_t),
        actuation=drives,
        protection=guard,
        alarms=told,
        product=racks,
        invariants=invariants.bind(
            chamber.invariants, points, guard, actuators, chamber.limits, dt_s, climate=watched, actuation=drives,
            alarms=told, phases=steps.phases,
        ),
        charges=charges.bind(
            racks, bays=chamber.bays, levels=chamber.levels, load_t=load_t, others=mixes, settle_h=recipe.settle_h,
            each=empty or keeps_places(recipe),
            empty=empty or recipe.phases[0].kind == "fill",
        ),
        aside=setaside.bind(watched, guard.doors, chamber.bays, chamber.levels),
        by_hand=by_hand.bind(chamber.by_hand, _hand_points(chamber, points, guard)),
        upkeep=upkeep.bind(chamber.wear, chamber.duty, points),
        limits=chamber.limits,
        siblings=siblings.bind(
            chamber.siblings, watched, tuple(point.tag for point in of_kind(points, "AI")), guard.airflow, guard.doors
        ),
    )


def _hand_points(
    chamber: ChamberFile, points: tuple[Point, ...], guard: protection.ProtectionPlan
) -> hand_points.HandPoints:
    """What people may do by hand in this chamber."""
    config, heat = chamber.by_hand, min(chamber.constraints.heat_kW_max, chamber.heat.capacity_kW)
    loops = {
        "heat": heat,
        "fog": sum(bank.kg_per_h for bank in chamber.fog.bank),
        "vent": chamber.vent.kg_per_s_max,
        "fan": 100.0,
    }
    trims = {"temperature": config.trim_K_max, "humidity": config.trim_rh_pct_max}
    return hand_points.bind(points, guard, chamber.alarms, config.fixed, loops, trims)
