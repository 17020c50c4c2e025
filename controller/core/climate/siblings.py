"""Probes that disagree with their siblings: too far from the median of all for too long, so they are left out and told.

A probe with a wrong range or one that drifts slowly moves, answers and lies within its span: only its siblings show it.
Air temperatures are compared with each other; humidities by the dew point that each forms with the temperature of its
own body, because that is the same everywhere in a chamber that is stirred. Compared once a minute, while air flow is
proven and every door is shut: what an open door does to a bay is no fault of its probes. Such a channel is uncertain,
so control goes on with the others, until it has agreed again for as long. A minority at most is left out, and of two
probes neither: two outvote nobody.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import exp, isnan
from typing import Annotated

from annotated_types import Ge, Gt, Le

from controller.core.climate.climate import ClimatePlan
from controller.core.climate.moistair import saturation_temperature_degC
from controller.core.climate.pairs import Way
from controller.core.climate.watched import Mask
from controller.core.frames import Event, Frame, Quality
from controller.core.quick import maker
from controller.core.signals.frozen import EVERY_S
from controller.core.signals.voting import median

APART = "disagrees with its siblings: wrong range, drift, or a bad place"
_ANY_K = 1000.0
_SLOPE_PER_K = 0.04  # of ln(saturation pressure) at 70 degC, computed; it is steeper where it is colder
FEWEST = 3  # siblings that can tell who is wrong


@dataclass(frozen=True, slots=True, kw_only=True)
class SiblingsConfig:
    """Section [siblings]. temperature_K, dew_point_K: so far from the median of all for time_s.

    More than what probes may differ by (their accuracies, and real differences between places), or sound ones are left
    out and an uneven chamber looks even. 0 = not judged.
    """

    temperature_K: Annotated[float, Ge(0), Le(20)] = 5.0
    dew_point_K: Annotated[float, Ge(0), Le(20)] = 2.5
    time_s: Annotated[float, Gt(0), Le(86_400)] = 600.0


@dataclass(frozen=True, slots=True)
class Group:
    """Channels that measure the same: columns, tags, tolerance in K, what is compared in words."""

    columns: tuple[int, ...]
    tags: tuple[str, ...]
    tolerance_K: float
    what: str


@dataclass(frozen=True, slots=True)
class SiblingsPlan:
    """temperatures, humidities: one channel a pair each, in their order. ways: how a pair gives its vapour pressure.

    airflow, doors: columns of the contacts. calm_ratio: of the greatest vapour pressure to the least, up to which no
    dew point can be too far from their median.
    """

    temperatures: Group
    humidities: Group
    ways: tuple[Way, ...]
    airflow: int
    doors: tuple[int, ...]
    time_s: float
    calm_ratio: float


@dataclass(frozen=True, slots=True)
class SiblingsState:
    """apart_s: per channel (temperatures, then humidities) how long it has been apart, up to time_s.

    out: columns of those that are left out.
    """

    apart_s: tuple[float, ...] = ()
    out: tuple[int, ...] = ()


AGREED = SiblingsState()
_state = maker(SiblingsState)
_NONE: tuple[Event, ...] = ()


def bind(
    config: SiblingsConfig, climate: ClimatePlan, tags: tuple[str, ...], airflow: int, doors: tuple[int, ...]
) -> SiblingsPlan:
    """From the pairs that the climate looks at. tags: of the analog inputs, by column."""
    pairs = climate.config.pairs
    numbers = tuple(map(float, range(len(tags))))

    def group(picked: tuple[float, ...], tolerance_K: float, what: str) -> Group:
        columns = tuple(map(int, picked))
        return Group(columns, tuple(tags[column] for column in columns), tolerance_K, what)

    return SiblingsPlan(
        group(climate.temperatures(numbers), config.temperature_K, "temperature"),
        group(climate.humidities(numbers), config.dew_point_K, "dew point"),
        climate.ways or (_of_humidity(climate.saturation_Pa),) * len(pairs), airflow, doors, config.time_s,
        exp(_SLOPE_PER_K * config.dew_point_K),
    )


def watch(
    plan: SiblingsPlan, state: SiblingsState, frame: Frame, mask: Mask | None, now_s: float, dt_s: float
) -> tuple[SiblingsState, Frame, tuple[Event, ...]]:
    """One scan: compared once a minute; what disagrees is uncertain in every scan. mask: pairs that are set aside."""
    events = _NONE
    due = now_s // EVERY_S != (now_s - dt_s) // EVERY_S and frame.discrete[plan.airflow]
    if due and (mask is not None or any(state.apart_s) or not _calm(plan, frame)):
        state, events = _compare(plan, state, frame, mask)
    return state, _marked(frame, state.out) if state.out else frame, events


def _calm(plan: SiblingsPlan, frame: Frame) -> bool:
    """A first look that is nearly always enough: all are good, and even the outermost two are near each other."""
    values, qualities = frame.values, frame.qualities
    bodies, readings = plan.temperatures.columns, plan.humidities.columns
    for column in (*bodies, *readings):
        if qualities[column]:
            return False
    temperatures = [values[column] for column in bodies]
    if plan.temperatures.tolerance_K and max(temperatures) - min(temperatures) > plan.temperatures.tolerance_K:
        return False
    pressures = [
        way(body, values[column]) for way, body, column in zip(plan.ways, temperatures, readings, strict=True)
    ]
    return not plan.humidities.tolerance_K or max(pressures) <= plan.calm_ratio * min(pressures)


def _compare(
    plan: SiblingsPlan, state: SiblingsState, frame: Frame, mask: Mask | None
) -> tuple[SiblingsState, tuple[Event, ...]]:
    if not all(frame.discrete[door] for door in plan.doors):
        return state, _NONE
    counts = [True] * len(plan.ways) if mask is None else mask.pairs
    values, good = frame.values, [quality == Quality.GOOD for quality in frame.qualities]
    nothing = float("nan")
    temperatures = [
        values[column] if good[column] and counted else nothing
        for column, counted in zip(plan.temperatures.columns, counts, strict=True)
    ]
    centre = median(temperatures)
    # A humidity is not blamed for the temperature of its own body.
    bodies = [t if abs(t - centre) <= (plan.temperatures.tolerance_K or _ANY_K) else nothing for t in temperatures]
    dew_points = [
        saturation_temperature_degC(way(body, values[column])) if good[column] else nothing
        for way, body, column in zip(plan.ways, bodies, plan.humidities.columns, strict=True)
    ]
    apart_s = state.apart_s or (0.0,) * (2 * len(plan.ways))
    after: list[float] = []
    out: list[int] = []
    events: list[Event] = []
    for group, seen in ((plan.temperatures, temperatures), (plan.humidities, dew_points)):
        clocks = apart_s[len(after) : len(after) + len(seen)]
        centre = median(seen)
        far = [abs(value - centre) for value in seen]
        later = _clocks(plan, group, far, clocks)
        after += later
        before = [column for column in group.columns if column in state.out]
        left_out = _left_out(plan, group, later, far, before)
        out += left_out
        for column, tag, value in zip(group.columns, group.tags, seen, strict=True):
            if (column in left_out) is not (column in before):
                events.append(_event(tag, group, value, centre, column in left_out))
    return _state(tuple(after), tuple(out)), tuple(events)


def _clocks(plan: SiblingsPlan, group: Group, far: list[float], clocks: tuple[float, ...]) -> list[float]:
    """How long each has been apart now; a channel that is not known keeps its clock."""
    if sum(not isnan(distance) for distance in far) < FEWEST or not group.tolerance_K:
        return [0.0] * len(far)
    return [
        clock if isnan(distance)
        else min(plan.time_s, clock + EVERY_S) if distance > group.tolerance_K
        else max(0.0, clock - EVERY_S)
        for clock, distance in zip(clocks, far, strict=True)
    ]


def _left_out(
    plan: SiblingsPlan, group: Group, clocks: list[float], far: list[float], before: list[int]
) -> list[int]:
    """Those that have been apart for all of the time, or have not yet agreed again for as long; a minority at most."""
    wanted = [
        (-distance if not isnan(distance) else 0.0, column)
        for column, clock, distance in zip(group.columns, clocks, far, strict=True)
        if clock >= plan.time_s or (column in before and clock > 0.0)
    ]
    most = (sum(not isnan(distance) for distance in far) - 1) // 2
    return sorted(column for _distance, column in sorted(wanted)[:most])


def _event(tag: str, group: Group, value: float, centre: float, out: bool) -> Event:
    text = f"{tag} agrees with its siblings again"
    if out:
        text = f"{tag} {APART}; its {group.what} is {value:.1f} degC, the median of all {centre:.1f} degC"
    return Event("note", tag, text, (("disagrees", out),))


def _marked(frame: Frame, out: tuple[int, ...]) -> Frame:
    """The frame with these channels uncertain; what is bad already stays bad."""
    qualities, reasons = list(frame.qualities), list(frame.reasons)
    for column in out:
        if qualities[column] == Quality.GOOD:
            qualities[column], reasons[column] = int(Quality.UNCERTAIN), APART
    return Frame(frame.values, tuple(qualities), tuple(reasons), frame.discrete, frame.age_scans)


def _of_humidity(saturation_Pa: Callable[[float], float]) -> Way:
    return lambda temperature_degC, rh_pct: 0.01 * min(rh_pct, 100.0) * saturation_Pa(temperature_degC)
