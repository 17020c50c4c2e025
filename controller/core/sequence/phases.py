"""A recipe bound to a chamber: every phase with its thresholds in the units of the scan, and what the sequence knows.

Also where a moving setpoint begins and what is asked of the loops at a given setpoint.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf, isfinite
from typing import Annotated

from annotated_types import Ge, Gt, Le

from controller.core.climate.climate import Climate
from controller.core.frames import Command
from controller.core.orders.commands import CommandState
from controller.core.quick import maker
from controller.core.sequence import ends
from controller.core.sequence.phase_kinds import KINDS
from controller.core.sequence.recipe import ChamberLimits, Phase, Recipe, band
from controller.core.setpoints import Targets


@dataclass(frozen=True, slots=True, kw_only=True)
class SequenceConfig:
    """[sequence]: how this chamber carries out recipes.

    fan_kg_per_s: circulated air where the recipe does not say. stop_s: fan and vent go on this long after Stop.
    restart_K_per_h: how fast a setpoint comes back after a stopped clock, where the phase has no rate of its own.
    restart_h_max: then the clock goes on in any case, and holdback waits. rate_filter_s: the rate that is fed forward
    is smoothed over this time, because a dew-limited ramp stops and goes. stale_after_s: older commands are refused.
    """

    fan_kg_per_s: Annotated[float, Gt(0), Le(100)] = 9.0
    stop_s: Annotated[float, Ge(0), Le(7200)] = 300.0
    restart_K_per_h: Annotated[float, Gt(0), Le(20)] = 2.0
    restart_h_max: Annotated[float, Gt(0), Le(48)] = 6.0
    rate_filter_s: Annotated[float, Ge(1), Le(3600)] = 300.0
    stale_after_s: Annotated[float, Gt(0), Le(3600)] = 30.0


@dataclass(frozen=True, slots=True)
class PhasePlan:
    """One phase in the units of the scan. moves: +1 a ramp, -1 a cooldown, 0 stands still.

    band_floor_degC, band_ceiling_degC: when coldest and hottest good probe are inside, the band counts as reached.
    dry_below_pct: a humidity that counts as dry, 0 for none. fan_on_s, fan_off_s: the fan's turns, fan_off_s 0 for a
    fan that never rests; still: what is asked while it rests.
    on_door_stand: doors are daily work; door_keep_s, door_blind_s: as in the recipe.
    targets: what is asked once nothing moves any more; the same object every scan.
    air_degC_min, air_degC_max: what the air may be when it is found after an outage, infinite where nothing sets.
    """

    name: str
    kind: str
    moves: int
    single: bool
    floor_degC: float
    ceiling_degC: float
    rate_K_per_h: float
    rate_K_per_s: float
    holdback_K: float
    waits: bool
    ramp_rh_floor_pct: float
    band_floor_degC: float
    band_ceiling_degC: float
    wait_alarm_s: float
    by_operator: bool
    on_door_hold: bool
    on_door_stand: bool
    door_keep_s: float
    door_blind_s: float
    end: ends.EndPlan
    targets: Targets
    dry_below_pct: float
    fan_on_s: float
    fan_off_s: float
    still: Targets
    air_degC_min: float
    air_degC_max: float


@dataclass(frozen=True, slots=True)
class SequencePlan:
    """Everything `advance` needs, made once by `bind`."""

    recipe: Recipe
    phases: tuple[PhasePlan, ...]
    rest: Targets
    stop_s: float
    stop_fan_pct: float
    restart_K_per_s: float
    restart_s_max: float
    rate_filter_s: float
    stale_after_s: float


@dataclass(frozen=True, slots=True)
class SequenceState:
    """Where the cycle stands. Clocks in seconds.

    phase: index, -1 none. phase_s stands still while held or waiting, cycle_s only while held; held_s is that time,
    waiting_s the waiting in this phase. state_s: time in a timed state (stopping, restarting). hold_start_s: cycle
    clock when the first hold phase began. resume_floor_degC: where a restart goes back to. rate_K_per_h: smoothed.
    trail: procedural states entered in this scan. reset: who asked for trips to be reset in this scan (id, who).
    acknowledge: somebody acknowledged all alarms in this scan. for_alarms: orders of this scan that alarms answer.
    passed_on: orders of this scan that others answer: the charge table, what people override and lock; and start.
    airing_s: a fan that rests by turns may not before so long after the phase began: rest did the surfaces no good.
    back_s: for how long the air could be believed since an outage, until it is judged; below 0 when it is not to be.
    """

    state: str
    phase: int
    phase_s: float
    cycle_s: float
    held_s: float
    state_s: float
    floor_degC: float
    ceiling_degC: float
    rate_K_per_h: float
    waiting_s: float
    waiting_long: bool
    hold_start_s: float | None
    resume_floor_degC: float | None
    commands: CommandState
    trail: tuple[str, ...]
    reset: tuple[tuple[str, str], ...]
    acknowledge: bool
    for_alarms: tuple[Command, ...]
    passed_on: tuple[Command, ...] = ()
    airing_s: float = 0.0
    back_s: float = -1.0


def bind(
    config: SequenceConfig, recipe: Recipe, limits: ChamberLimits, flow_kg_per_s_at_full: float = 12.0
) -> SequencePlan:
    """Bind a recipe that has no `problems` under these limits. The fan's flow is taken as proportional to speed."""
    phases = tuple(
        _phase_plan(config, recipe.phases, number, flow_kg_per_s_at_full, limits)
        for number in range(len(recipe.phases))
    )
    first = phases[0].targets
    rest = Targets(first.floor_degC, first.ceiling_degC, 0.0, 0.0, 0.0, first.supply_over_return_K_max, 0.0,
                   heat=False, fog=False, vent=False)
    return SequencePlan(
        recipe=recipe, phases=phases, rest=rest, stop_s=config.stop_s,
        stop_fan_pct=_fan_pct(config.fan_kg_per_s, flow_kg_per_s_at_full),
        restart_K_per_s=min(config.restart_K_per_h, limits.ramp_K_per_h_max) / 3600.0,
        restart_s_max=config.restart_h_max * 3600.0, rate_filter_s=config.rate_filter_s,
        stale_after_s=config.stale_after_s,
    )


def initial(plan: SequencePlan) -> SequenceState:
    """Idle, no phase, nothing asked for."""
    return SequenceState("idle", -1, 0.0, 0.0, 0.0, 0.0, plan.rest.floor_degC, plan.rest.ceiling_degC, 0.0, 0.0, False,
                         None, None, CommandState(), (), (), False, ())


def begin(phase: PhasePlan, mean_degC: float, last_floor_degC: float) -> tuple[float, float]:
    """Floor and ceiling at the first scan of a phase: a moving one starts from the measured mean (from the last floor
    when there is no good reading), never beyond its end."""
    start = mean_degC if isfinite(mean_degC) else last_floor_degC
    if phase.moves > 0:
        floor = min(start, phase.floor_degC)
        return floor, floor if phase.single else phase.ceiling_degC
    if phase.moves < 0:
        ceiling = max(start, phase.ceiling_degC)
        return ceiling if phase.single else phase.floor_degC, ceiling
    return phase.floor_degC, phase.ceiling_degC


make_targets = maker(Targets)
make_state = maker(SequenceState)


def targets_at(phase: PhasePlan, floor_degC: float, ceiling_degC: float, rate_K_per_h: float) -> Targets:
    """What is asked at a setpoint: the phase's own object once it has arrived there."""
    arrived = phase.targets
    if floor_degC == arrived.floor_degC and ceiling_degC == arrived.ceiling_degC and rate_K_per_h == 0.0:
        return arrived
    return make_targets(floor_degC, ceiling_degC, rate_K_per_h, arrived.rh_fog_below_pct, arrived.rh_accept_pct,
                        arrived.supply_over_return_K_max, arrived.fan_pct, arrived.heat, arrived.fog,
                        arrived.vent, arrived.sags, arrived.rh_vent_above_pct, arrived.empty)


def in_band_now(phase: PhasePlan, ceiling_degC: float, climate: Climate) -> bool:
    """Cooling looks at its hottest good probe, what stands still at the coldest too (a ramp at the coldest only), what
    dries at its humidity."""
    if phase.dry_below_pct:
        return climate.moisture_ok and climate.rh_pct <= phase.dry_below_pct
    if phase.moves < 0 or phase.kind == "vent":
        if phase.end.by_setpoint:
            return ceiling_degC <= phase.ceiling_degC
        return climate.hottest_degC <= phase.band_ceiling_degC
    return climate.coldest_degC >= phase.band_floor_degC and climate.hottest_degC <= phase.band_ceiling_degC


def airing_until_s(phase: PhasePlan, airing_s: float, spent_s: float, climate: Climate) -> float:
    """Until when a fan that rests by turns runs in any case, spent_s after the phase began: while air or surfaces are
    not where they should be, or not known, and for one turn more."""
    good = (
        phase.floor_degC <= climate.temperature_degC <= phase.ceiling_degC
        and climate.dew_point_degC <= climate.dew_limit_degC
        and climate.surface_ok
    )
    return airing_s if good else spent_s + phase.fan_on_s


def rests(phase: PhasePlan, airing_s: float, spent_s: float) -> bool:
    """Is it the fan's turn to rest? Its turns begin with air."""
    return spent_s >= airing_s and spent_s % (phase.fan_on_s + phase.fan_off_s) >= phase.fan_on_s


def stopping_targets(plan: SequencePlan, state: SequenceState) -> Targets:
    """Heat and fog off, fan on, vent towards the last ceiling."""
    return Targets(state.floor_degC, state.ceiling_degC, 0.0, 0.0, 0.0, plan.rest.supply_over_return_K_max,
                   plan.stop_fan_pct, heat=False, fog=False, vent=True)


def _phase_plan(
    config: SequenceConfig, phases: tuple[Phase, ...], number: int, full: float, limits: ChamberLimits
) -> PhasePlan:
    phase = phases[number]
    floor, ceiling = band(phase)
    reach = phase  # whose band counts as reached: a ramp's is that of the hold after it
    if phase.kind == "ramp" and number + 1 < len(phases) and phases[number + 1].kind == "hold":
        reach = phases[number + 1]
    band_floor, band_ceiling = band(reach)
    flow = config.fan_kg_per_s if phase.fan_kg_per_s is None else phase.fan_kg_per_s
    kind = KINDS[phase.kind]
    targets = Targets(floor, ceiling, 0.0, phase.rh_fog_below_pct, phase.rh_accept_pct, phase.supply_over_return_K_max,
                      _fan_pct(flow, full), heat=kind.heats, fog=phase.rh_fog_below_pct > 0.0, vent=True,
                      sags=not (phase.heat_against_vent or kind.dries), rh_vent_above_pct=phase.rh_vent_above_pct,
                      empty=kind.empty)
    return PhasePlan(
        name=f"phase {number + 1} of {len(phases)}, {phase.kind}", kind=phase.kind,
        moves=kind.moves, single=floor == ceiling,
        floor_degC=floor, ceiling_degC=ceiling, rate_K_per_h=phase.rate_K_per_h or 0.0,
        rate_K_per_s=(phase.rate_K_per_h or 0.0) / 3600.0,
        holdback_K=phase.holdback_K, waits=kind.waits,
        ramp_rh_floor_pct=phase.ramp_rh_floor_pct if phase.kind == "ramp" else 0.0,
        band_floor_degC=band_floor - reach.in_band_K, band_ceiling_degC=band_ceiling + reach.in_band_K,
        wait_alarm_s=phase.wait_alarm_h * 3600.0, by_operator=phase.end.by_operator,
        on_door_hold=phase.on_door == "hold",
        on_door_stand=phase.on_door == "standing", door_keep_s=phase.door_keep_s, door_blind_s=phase.door_blind_s,
        end=ends.bind(phase), targets=targets, dry_below_pct=phase.rh_vent_above_pct if kind.dries else 0.0,
        fan_on_s=phase.fan_on_s, fan_off_s=phase.fan_off_s,
        still=replace(targets, fan_pct=0.0, heat=False, fog=False, vent=False),
        air_degC_min=limits.temperature_degC_min if kind.sets else -inf,
        air_degC_max=limits.temperature_degC_max if kind.sets else inf,
    )


def _fan_pct(flow_kg_per_s: float, full_kg_per_s: float) -> float:
    return min(100.0, 100.0 * flow_kg_per_s / full_kg_per_s)
