"""Actuators bound to the columns of a point list."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from controller.core.actuation import fogging, heating
from controller.core.actuation.fogging import FoggingPlan
from controller.core.actuation.heating import HeatingPlan
from controller.core.binding import Binder
from controller.core.climate.places import Picker, picker
from controller.core.equipment.actuators import ActuationConfig, FanConfig, FrameHeatingConfig, VentConfig
from controller.core.equipment.heaters import AnyHeatConfig, HeatConfig
from controller.core.equipment.valve import Characteristic, share_at_pct
from controller.core.frames import Outputs
from controller.core.points import Point, of_kind
from controller.errors import ConfigError, Problem

# kg of water in one fog cycle; larger pulses swing the dew point by themselves.
PULSE_KG_MAX = 1.0


@dataclass(frozen=True, slots=True)
class ActuationPlan:
    """Columns of tags, characteristics and steps per scan of one chamber.

    heating, fogging: how heater and fog are driven.  damper_share: share of the full flow at a position in percent.
    driven: picks the contacts out that actuation drives.  heat_contacts, fog_contacts: pick what must be on.
    valve_ao, fog_ao, frame_do, water_ai: -1 where there is none.
    """

    fan: FanConfig
    heat: AnyHeatConfig
    vent: VentConfig
    frame_heating: FrameHeatingConfig | None
    heating: HeatingPlan
    fogging: FoggingPlan
    damper: Characteristic
    damper_share: Callable[[float], float]
    speed_ao: int
    valve_ao: int
    damper_ao: int
    run_do: int
    enable_do: int
    stage_do: tuple[int, ...]
    fog_ao: int
    bank_do: tuple[int, ...]
    frame_do: int
    water_ai: int
    water_lift_K: float
    frame_ai: tuple[int, ...]
    driven: Picker
    heat_contacts: Picker
    fog_contacts: Picker
    at_rest: Outputs


def bind(config: ActuationConfig, points: tuple[Point, ...]) -> ActuationPlan:
    """Tags to columns. Raises ConfigError with every tag that the point list does not have."""
    fan, heat, fog, vent, frame = config.fan, config.heat, config.fog, config.vent, config.frame_heating
    sections = {name: Binder(name, points) for name in ("fan", "heat", "fog", "vent", "frame_heating")}
    for bank in fog.bank:
        if bank.kg_per_h * bank.cycle_s > 3600.0 * PULSE_KG_MAX:
            sections["fog"].refuse(
                "bank.cycle_s", f"{bank.cycle_s:g}", f"at most {3600.0 / bank.kg_per_h:.0f}", "shorten the cycle"
            )
    damper = Characteristic(vent.rangeability, vent.authority)
    run_do = sections["fan"].column("run", fan.run, "DO")
    enable_do = sections["heat"].column("enable", heat.enable, "DO")
    bank_do = tuple(sections["fog"].column("bank.tag", bank.tag, "DO") for bank in fog.bank)
    stage_do = tuple(sections["heat"].column("stage.tag", stage.tag, "DO") for stage in heat.stages)
    drive = "fire" if heat.kind == "gas" else "valve"
    valve_ao = sections["heat"].column(drive, heat.drive, "AO") if heat.drive else -1
    water_ai = -1
    if isinstance(heat, HeatConfig) and heat.water:
        water_ai = sections["heat"].column("water", heat.water)
    frame_do = sections["frame_heating"].column("output", frame.output, "DO") if frame else -1
    plan = ActuationPlan(
        fan=fan,
        heat=heat,
        vent=vent,
        frame_heating=frame,
        heating=heating.plan(heat),
        fogging=fogging.plan(fog),
        damper=damper,
        damper_share=share_at_pct(damper),
        speed_ao=sections["fan"].column("speed", fan.speed, "AO"),
        valve_ao=valve_ao,
        damper_ao=sections["vent"].column("damper", vent.damper, "AO"),
        run_do=run_do,
        enable_do=enable_do,
        stage_do=stage_do,
        fog_ao=sections["fog"].column("modulation", fog.modulation, "AO") if fog.modulation else -1,
        bank_do=bank_do,
        frame_do=frame_do,
        water_ai=water_ai,
        water_lift_K=heat.water_nominal_degC - heat.air_nominal_degC if isinstance(heat, HeatConfig) else 1.0,
        frame_ai=tuple(sections["frame_heating"].column("frames", tag) for tag in frame.frames) if frame else (),
        driven=picker(sorted((run_do, enable_do, *stage_do, *bank_do, *((frame_do,) if frame else ())))),
        heat_contacts=picker([sections["heat"].column("ready", tag, "DI") for tag in heat.ready]),
        fog_contacts=picker([sections["fog"].column("ready", tag, "DI") for tag in fog.ready]),
        at_rest=Outputs(
            tuple(0.0 for _ in of_kind(points, "AO")), tuple(False for _ in of_kind(points, "DO"))
        ),
    )
    _tell_all(sections.values())
    return plan


def _tell_all(binders: Iterable[Binder]) -> None:
    """Raise one ConfigError with what every section found."""
    problems: list[Problem] = []
    for binder in binders:
        try:
            binder.done()
        except ConfigError as error:
            problems.extend(error.problems)
    if problems:
        raise ConfigError(problems)
