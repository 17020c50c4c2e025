"""Fog in kilograms an hour to outputs: pulses of every bank, and the pump or humidifier behind them."""

from __future__ import annotations

from dataclasses import dataclass

from controller.core.actuation import pulses
from controller.core.actuation.pulses import PulsePlan, PulseState
from controller.core.equipment.actuators import FogConfig

Banks = tuple[PulseState, ...]


@dataclass(frozen=True, slots=True)
class FoggingPlan:
    """banks, kg_per_h: pulses and size of every bank, smallest first. modulated: flow goes with an output, from
    pct_min on."""

    banks: tuple[PulsePlan, ...]
    kg_per_h: tuple[float, ...]
    kg_per_h_max: float
    modulated: bool
    pct_min: float


def plan(config: FogConfig) -> FoggingPlan:
    """What follows from the section."""
    return FoggingPlan(
        tuple(PulsePlan(bank.cycle_s, bank.on_s_min, bank.off_s_min) for bank in config.bank),
        tuple(bank.kg_per_h for bank in config.bank),
        sum(bank.kg_per_h for bank in config.bank),
        bool(config.modulation),
        config.pct_min,
    )


def step(
    plan: FoggingPlan, banks: Banks, fog_kg_per_h: float, ready: bool, dt_s: float
) -> tuple[Banks, bool, float]:
    """(pulses of every bank, whether each is on or off as before, output of pump or humidifier in percent).

    The same tuple when all rest.
    """
    if fog_kg_per_h <= 0.0 and ready and _rest(plan, banks):  # nearly every scan: the product keeps the air moist
        return banks, True, 0.0
    if plan.modulated:
        return _modulated(plan, banks, fog_kg_per_h if ready else 0.0, ready, dt_s)
    asked: list[float] = []
    for size in plan.kg_per_h:  # the smallest takes what it can, the next the rest
        share = fog_kg_per_h if fog_kg_per_h < size else size
        asked.append(share / size if share > 0.0 else 0.0)
        fog_kg_per_h -= share if share > 0.0 else 0.0
    new, same = _pulsed(plan, banks, asked, ready, dt_s)
    return new, same, 0.0


def _rest(plan: FoggingPlan, banks: Banks) -> bool:
    """Does every bank rest, so that nothing in it moves while nothing is asked?"""
    for pulse, bank in zip(plan.banks, banks, strict=True):
        if bank.on or bank.since_s < pulse.cycle_s or bank.cycle_s < pulse.cycle_s:
            return False
    return True


def _modulated(
    plan: FoggingPlan, banks: Banks, fog_kg_per_h: float, ready: bool, dt_s: float
) -> tuple[Banks, bool, float]:
    """As few banks as can give it, all alike; below the slowest speed they are pulsed there."""
    open_, flow = 0, 0.0
    for size in plan.kg_per_h:
        if flow >= fog_kg_per_h:
            break
        open_, flow = open_ + 1, flow + size
    pct, duty = 0.0, 0.0
    if open_:
        pct = max(plan.pct_min, min(100.0 * fog_kg_per_h / flow, 100.0))
        duty = min(100.0 * fog_kg_per_h / (flow * pct), 1.0)
    asked = [duty] * open_ + [0.0] * (len(banks) - open_)
    new, same = _pulsed(plan, banks, asked, ready, dt_s)
    if pct == 0.0 and any(bank.on for bank in new):
        pct = plan.pct_min  # a pulse that has to last its shortest time
    return new, same, pct


def _pulsed(
    plan: FoggingPlan, banks: Banks, asked: list[float], ready: bool, dt_s: float
) -> tuple[Banks, bool]:
    moved, same = False, True
    new: list[PulseState] = []
    for pulse, bank, duty in zip(plan.banks, banks, asked, strict=True):
        after = pulses.step(pulse, bank, duty, dt_s) if ready else pulses.cut(pulse, bank, dt_s)
        if after is not bank:
            moved = True
            if after.on is not bank.on:
                same = False
        new.append(after)
    return (tuple(new), same) if moved else (banks, True)
