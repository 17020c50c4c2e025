"""What the invariants compare with in one chamber: columns, bounds and the section of the chamber file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from operator import itemgetter
from typing import Annotated

from annotated_types import Gt, Le

from controller.core.actuation.wiring import ActuationPlan
from controller.core.alarms.alarms import AlarmPlan
from controller.core.climate.climate import ClimatePlan
from controller.core.climate.places import Picker, picker
from controller.core.equipment.actuators import ActuationConfig
from controller.core.frames import all_good
from controller.core.points import Point, of_kind
from controller.core.protection.protection import ProtectionPlan
from controller.core.rows.protection import FAN, FOG, FRAME, HEAT
from controller.core.sequence.phases import PhasePlan
from controller.core.sequence.recipe import ChamberLimits

TINY = 1e-6
# Causes that are looked at again here, past protection, in this order; the last three are contacts, doors together.
HOT = ("air-too-hot", "supply-too-hot", "product-too-hot")
CHAINS = ("emergency-stop", "limiter", "person-inside")
DOOR = "door-open"


@dataclass(frozen=True, slots=True, kw_only=True)
class InvariantsConfig:
    """[invariants]: bounds of the two integrals, kW and the unit of the moisture loop's output."""

    temperature_integral_max: Annotated[float, Gt(0), Le(1e6)] = 1000.0
    moisture_integral_max: Annotated[float, Gt(0), Le(1e6)] = 1000.0


@dataclass(frozen=True, slots=True)
class Slew:
    """One analog output that must not jump. most_pct: in one scan. targets: where protection may put it at once.
    start_pct: from a standstill it may begin here, and it may stop at once; -1 where it may do neither.
    """

    column: int
    most_pct: float
    targets: tuple[float, ...]
    start_pct: float


@dataclass(frozen=True, slots=True)
class InvariantPlan:
    """Columns and bounds, per scan.

    fog_of: the fog valves.  closed_of: chains and doors, closed while all is well; delay_s, blocks: per cause (HOT,
    CHAINS, DOOR), after what time it takes which outputs away.  air, humidity: columns of the pairs.  heat_contacts,
    fog_contacts, switches: what must be closed for heat and fog to count as available, and the switches at the panel.
    driven_of: contacts that are not the alarms' own.  in_hand: number of the alarm of the switches.  trips: number of
    the alarm of each trip.
    """

    airflow: int
    fan_speed: int
    fan_run: int
    heat_valve: int
    heat_run: int
    heat_stages: tuple[int, ...]
    fog_of: Picker
    frame_heat: int
    slews: tuple[Slew, ...]
    closed_of: Callable[[tuple[bool, ...]], tuple[bool, ...]]
    supply: int
    products: tuple[int, ...]
    air_degC_max: float
    supply_degC_max: float
    product_degC_max: float
    delay_s: tuple[float, ...]
    blocks: tuple[int, ...]
    good: tuple[int, ...]
    air: Picker
    humidity: Picker
    heat_contacts: Picker
    fog_contacts: Picker
    switches: Callable[[tuple[bool, ...]], tuple[bool, ...]]
    driven_of: Picker
    heaters: tuple[int, ...]
    in_hand: int
    trips: dict[str, int]
    alarms_max: int
    phases: tuple[PhasePlan, ...]
    floor_K_max: float
    age_scans_max: int
    temperature_integral_max: float
    moisture_integral_max: float
    dt_s: float


def bind(
    config: InvariantsConfig,
    points: tuple[Point, ...],
    protection: ProtectionPlan,
    actuators: ActuationConfig,
    limits: ChamberLimits,
    dt_s: float,
    *,
    climate: ClimatePlan,
    actuation: ActuationPlan,
    alarms: AlarmPlan,
    phases: tuple[PhasePlan, ...],
) -> InvariantPlan:
    """Bounds of this chamber. The valve may open as fast as its stroke, or as protection lets it after a block."""
    watched = (protection.emergency_stop, protection.limiter, protection.person_inside, *protection.doors)
    lamps = set(alarms.lamps.columns)
    rows = {row.tag: row for row in protection.rows}
    causes = [rows[tag] for tag in (*HOT, *CHAINS, DOOR)]
    everything = {"emergency-stop": HEAT | FOG | FAN | FRAME, "person-inside": HEAT | FOG | FAN | FRAME, DOOR: FOG}
    return InvariantPlan(
        airflow=protection.airflow, fan_speed=protection.fan_speed, fan_run=protection.fan_run,
        heat_valve=protection.heat_valve, heat_run=protection.heat_run, heat_stages=protection.heat_stages,
        fog_of=picker(protection.fog_valves), frame_heat=protection.frame_heat,
        slews=_slews(protection, actuators, dt_s),
        closed_of=itemgetter(watched[0], watched[1], *watched[2:]), supply=protection.supply,
        products=protection.products, air_degC_max=protection.air_degC_max,
        supply_degC_max=protection.supply_degC_max, product_degC_max=protection.product_degC_max,
        delay_s=tuple(0.0 if row.tag == DOOR else row.delay_s for row in causes),
        blocks=tuple(everything.get(row.tag, HEAT) for row in causes),
        good=all_good(len(of_kind(points, "AI"))),
        air=climate.temperatures, humidity=climate.humidities,
        heat_contacts=actuation.heat_contacts, fog_contacts=actuation.fog_contacts, switches=alarms.contacts_of,
        driven_of=picker([column for column in range(len(of_kind(points, "DO"))) if column not in lamps]),
        heaters=(protection.heat_run, *protection.heat_stages, *protection.fog_valves),
        in_hand=alarms.numbers["in-hand"],
        trips={row.tag: alarms.numbers[row.tag] for row in protection.rows}, alarms_max=len(alarms.rows),
        phases=phases,
        floor_K_max=max(limits.ramp_K_per_h_max, limits.cooldown_K_per_h_max) / 3600.0 * dt_s + TINY,
        age_scans_max=protection.link_age_scans_max,
        temperature_integral_max=config.temperature_integral_max,
        moisture_integral_max=config.moisture_integral_max, dt_s=dt_s,
    )


def _slews(protection: ProtectionPlan, actuators: ActuationConfig, dt_s: float) -> tuple[Slew, ...]:
    safe, fan = protection.safe.analog, protection.fan_speed
    step = actuators.fan.slew_pct_per_s * dt_s
    start = max(actuators.fan.speed_pct_min, step) + TINY
    found = [
        Slew(fan, step + TINY, (0.0, protection.run_on_pct, safe[fan]), start),
        Slew(protection.vent, 100.0 / actuators.vent.stroke_s * dt_s + TINY, (100.0, safe[protection.vent]), -1.0),
    ]
    valve = protection.heat_valve
    if valve >= 0:
        rise = max(100.0 / actuators.heat.stroke_s, protection.heat_rise_pct_per_s)
        found.append(Slew(valve, rise * dt_s + TINY, (0.0, safe[valve]), -1.0))
    return tuple(found)
