"""Which channels have stopped moving: compared with a reference value, not with the scan before.

A probe that lives is never still: noise and the converter's last digit move it. One whose value has stayed within a
tolerance of its reference for a stated time, while something ought to move it (air flow is proven), is taken as
frozen: it is shown as uncertain, and control goes on with its siblings. A humidity probe at the top of its range is
not frozen but wet, so from `exempt_from_pct` of the span upwards nothing is judged: of the span of its transmitter,
which a calibration offset moves. Slow drift moves the reference along and is found by siblings, not here. Looked at
once a minute, so it costs a scan nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import isnan
from typing import Annotated

from annotated_types import Ge, Gt, Le

from controller.core.binding import Binder
from controller.core.frames import Event, Frame, Quality
from controller.core.points import Point, of_kind
from controller.core.quick import maker

EVERY_S = 60.0
FROZEN = "does not move: stuck probe or transmitter"


@dataclass(frozen=True, slots=True, kw_only=True)
class FrozenConfig:
    """Section [frozen]. tags: channels that are watched; those of coarse resolution do not belong here.

    airflow: the contact that proves it. time_s: so long still; tolerance_pct, exempt_from_pct: of the
    span. time_of: a channel's own time_s.
    """

    tags: tuple[str, ...] = ()
    time_s: Annotated[float, Ge(120), Le(86_400)] = 1200.0
    tolerance_pct: Annotated[float, Ge(0), Le(1)] = 0.005
    exempt_from_pct: Annotated[float, Gt(50), Le(110)] = 99.0
    airflow: str = ""
    time_of: Mapping[str, Annotated[float, Ge(120), Le(86_400)]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class FrozenPlan:
    """Per watched channel: column, tag, tolerance and exempt level in its unit, time. airflow: the contact's column."""

    columns: tuple[int, ...]
    tags: tuple[str, ...]
    tolerances: tuple[float, ...]
    exempt: tuple[float, ...]
    times_s: tuple[float, ...]
    airflow: int


@dataclass(frozen=True, slots=True)
class FrozenState:
    """Per watched channel its reference (NaN: none) and for how long it has stayed there. frozen: columns."""

    references: tuple[float, ...]
    still_s: tuple[float, ...]
    frozen: tuple[int, ...]


_state = maker(FrozenState)
_NONE: tuple[Event, ...] = ()


def bind(
    config: FrozenConfig, points: tuple[Point, ...], offsets: Mapping[str, float] | None = None
) -> FrozenPlan:
    """Tags to columns. offsets: tag -> what is added to its reading, in its unit. Raises ConfigError with every tag
    that is not there, and every own time of one not watched."""
    binder = Binder("frozen", points)
    columns = tuple(binder.column("tags", tag) for tag in config.tags)
    for tag in config.time_of:
        if tag not in config.tags:
            binder.refuse(f"time_of.{tag}", tag, "must be one of the tags watched", "add it to tags or leave it out")
    airflow = binder.column("airflow", config.airflow, "DI") if config.tags else -1
    binder.done()
    analog = of_kind(points, "AI")
    added = offsets or {}
    spans = [(analog[column].lo, analog[column].hi - analog[column].lo) for column in columns]
    return FrozenPlan(
        columns=columns,
        tags=config.tags,
        tolerances=tuple(abs(span) * config.tolerance_pct / 100.0 for _lo, span in spans),
        exempt=tuple(
            lo + span * config.exempt_from_pct / 100.0 + added.get(tag, 0.0)
            for tag, (lo, span) in zip(config.tags, spans, strict=True)
        ),
        times_s=tuple(config.time_of.get(tag, config.time_s) for tag in config.tags),
        airflow=airflow,
    )


def initial(plan: FrozenPlan) -> FrozenState:
    """Nothing is known of any channel."""
    return FrozenState((float("nan"),) * len(plan.columns), (0.0,) * len(plan.columns), ())


def watch(
    plan: FrozenPlan, state: FrozenState, frame: Frame, now_s: float, dt_s: float
) -> tuple[FrozenState, Frame, tuple[Event, ...]]:
    """One scan: once a minute every watched channel is compared; what is frozen is uncertain in every scan."""
    events = _NONE
    if now_s // EVERY_S != (now_s - dt_s) // EVERY_S and plan.columns and frame.discrete[plan.airflow]:
        state, events = _compare(plan, state, frame)
    return state, _marked(frame, state.frozen) if state.frozen else frame, events


def _compare(plan: FrozenPlan, state: FrozenState, frame: Frame) -> tuple[FrozenState, tuple[Event, ...]]:
    references, still, frozen = [], [], []
    events: list[Event] = []
    rows = zip(plan.columns, plan.tags, plan.tolerances, plan.exempt, plan.times_s, state.references, state.still_s,
               strict=True)
    for column, tag, tolerance, exempt, time_s, reference, still_s in rows:
        value = frame.values[column]
        if isnan(value) or value >= exempt or not abs(value - reference) <= tolerance:
            reference, still_s = value, 0.0
        else:
            still_s += EVERY_S
        references.append(reference)
        still.append(still_s)
        was, now = column in state.frozen, still_s >= time_s
        if now:
            frozen.append(column)
        if now is not was:
            events.append(Event("note", tag, f"{tag} {FROZEN}" if now else f"{tag} moves again", (("frozen", now),)))
    return _state(tuple(references), tuple(still), tuple(frozen)), tuple(events)


def _marked(frame: Frame, frozen: tuple[int, ...]) -> Frame:
    """The frame with frozen channels uncertain; what is bad already stays bad."""
    qualities, reasons = list(frame.qualities), list(frame.reasons)
    for column in frozen:
        if qualities[column] == Quality.GOOD:
            qualities[column], reasons[column] = int(Quality.UNCERTAIN), FROZEN
    return Frame(frame.values, tuple(qualities), tuple(reasons), frame.discrete, frame.age_scans)
