"""What is lost unseen: air that the fan should move and does not, heat and fog that come though they are shut.

Each is measured against what was really commanded, after protection. Where it is not measured nothing is said, nor
while people have a hand in it or a switch is not in automatic: then the outputs are not what the drives do.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from annotated_types import Ge, Le

from controller.core.actuation.actuation import ActuationPlan
from controller.core.climate.climate import Climate
from controller.core.frames import Outputs
from controller.core.quick import maker

SETTLE_S = {"heat": 900.0, "fog": 120.0}  # coil and pipes give off what is in them after they were shut
SPEED_PCT_MIN = 20.0  # slower, flow does not go with the speed
BACK = 0.03  # above the limit by so much of the asked air before it counts as there again


@dataclass(frozen=True, slots=True, kw_only=True)
class LossConfig:
    """[alarms.losses]. air_share_min: least share of the air that the fan gives at its speed (0 = not judged).
    heat_kW_max, fog_kg_per_h_max: what the meters may show while all is shut. time_s: for how long before it is told.
    Defaults are our choice; a loss that is smaller costs less than looking for it.
    """

    air_share_min: Annotated[float, Ge(0), Le(1)] = 0.85
    heat_kW_max: Annotated[float, Ge(0), Le(100)] = 1.5
    fog_kg_per_h_max: Annotated[float, Ge(0), Le(100)] = 2.0
    time_s: Annotated[float, Ge(60), Le(86400)] = 600.0


@dataclass(frozen=True, slots=True)
class LossPlan:
    """Columns of the outputs that are looked at, and the fan's flow at full speed, kg/s."""

    config: LossConfig
    speed: int
    run: int
    enable: int
    banks: tuple[int, ...]
    full_kg_per_s: float


@dataclass(frozen=True, slots=True)
class Losses:
    """*_s: for how long air is missing, heat and fog have been shut, and have come all the same. The rest: told."""

    air_s: float = 0.0
    heat_shut_s: float = 0.0
    heat_s: float = 0.0
    fog_shut_s: float = 0.0
    fog_s: float = 0.0
    air: bool = False
    heat: bool = False
    fog: bool = False

    @property
    def any(self) -> bool:
        """Is anything told?"""
        return self.air or self.heat or self.fog


NO_LOSSES = Losses()
_losses = maker(Losses)


def bind(config: LossConfig, drives: ActuationPlan) -> LossPlan:
    """From what drives the outputs."""
    return LossPlan(
        config, drives.speed_ao, drives.run_do, drives.enable_do, tuple(drives.bank_do),
        drives.fan.flow_kg_per_s_at_full,
    )


def follow(plan: LossPlan, was: Losses, outputs: Outputs, climate: Climate, trusted: bool, span_s: float) -> Losses:
    """The losses span_s later. trusted: nobody has a hand in it, all switches are in automatic, the frame is fresh."""
    if not trusted:
        return NO_LOSSES
    config, discrete, full_s = plan.config, outputs.discrete, plan.config.time_s
    air_s = span_s + was.air_s if _air_misses(plan, was, outputs, climate) else 0.0
    heat_shut_s, heat_s = _shut(
        was.heat_shut_s, was.heat_s, discrete[plan.enable], climate.heat_kW > config.heat_kW_max, "heat", span_s
    )
    fogs = True in [discrete[column] for column in plan.banks]
    fog_shut_s, fog_s = _shut(
        was.fog_shut_s, was.fog_s, fogs, climate.fog_kg_per_h > config.fog_kg_per_h_max, "fog", span_s
    )
    # What was told stands until it is known to be over: a valve that is open cannot be seen to leak.
    return _losses(
        min(air_s, full_s), heat_shut_s, min(heat_s, full_s), fog_shut_s, min(fog_s, full_s), air_s >= full_s,
        heat_s >= full_s or (was.heat and discrete[plan.enable]), fog_s >= full_s or (was.fog and fogs),
    )


def _air_misses(plan: LossPlan, was: Losses, outputs: Outputs, climate: Climate) -> bool:
    speed_pct = outputs.analog[plan.speed]
    if not outputs.discrete[plan.run] or speed_pct < SPEED_PCT_MIN:
        return False
    least = plan.config.air_share_min + (BACK if was.air else 0.0)
    return climate.airflow_kg_per_s < least * 0.01 * speed_pct * plan.full_kg_per_s  # never for NaN


def _shut(
    shut_s: float, lost_s: float, commanded: bool, comes: bool, what: str, span_s: float
) -> tuple[float, float]:
    """For how long something has been shut, and of that how long it has come all the same once it had settled."""
    if commanded:
        return 0.0, 0.0
    if shut_s < SETTLE_S[what]:
        return shut_s + span_s, 0.0
    return shut_s, lost_s + span_s if comes else 0.0
