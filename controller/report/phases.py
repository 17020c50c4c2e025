"""The phases of a cycle: what was planned, what they were, how well each was kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from controller.core.sequence.recipe import Phase, Recipe, band
from controller.report.kpis import SINGLE_K, digits, known, largest, mean, smallest
from controller.report.recorded import Recorded
from controller.report.words import ENGLISH, Words
from controller.store.reader import JournalRow, MinuteRow

RAMP_MINUTES = 30  # the fastest ramp is taken over half an hour: shorter, it would be the noise of the probes
MOVING = ("ramp", "cooldown")


class Planned(NamedTuple):
    """A phase on paper. hours: None when only the product decides; at_least: other conditions may make it longer."""

    hours: float | None
    at_least: bool
    from_degC: float
    to_degC: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseRow:
    """One phase that began. Temperatures are of the air; None = not known.

    in_band_pct: minutes with the mean between floor and ceiling in force (SINGLE_K around a single or moving value)
    and the humidity accepted.
    """

    number: int
    kind: str
    text: str
    setpoints: str
    begin_h: float
    end_h: float
    over: bool
    why: str
    planned: Planned | None
    hours: float
    waiting_h: float | None
    mean_degC: float | None
    min_degC: float | None
    max_degC: float | None
    rh_mean_pct: float | None
    dew_margin_min_K: float | None
    in_band_pct: float | None
    ramp_K_per_h_max: float | None


def phases_of(recorded: Recorded, words: Words = ENGLISH) -> list[PhaseRow]:
    """Every phase that began, in order."""
    begins = [row for row in recorded.journal if row.kind == "phase" and row.data.get("what") == "begin"]
    ends = {row.data["phase"]: row for row in recorded.journal if row.kind == "phase" and row.data.get("what") == "end"}
    plan = plan_of(recorded.recipe.value, _starts(begins)) if recorded.recipe else []
    columns = {tag: recorded.minutes(tag) for tag in _TAGS}
    rows = []
    for index, begin in enumerate(begins):
        number = int(begin.data["phase"])
        end = ends.get(number)
        next_ms = begins[index + 1].utc_ms if index + 1 < len(begins) else recorded.span.ended
        end_ms = end.utc_ms if end else max(next_ms, begin.utc_ms)
        here = {tag: [row for row in found if begin.utc_ms <= row.utc_ms < end_ms] for tag, found in columns.items()}
        recipe = recorded.recipe.value.phases if recorded.recipe else ()
        phase = recipe[number] if number < len(recipe) else None
        planned = plan[number] if number < len(plan) else None
        rows.append(_row(recorded, begin, end, end_ms, here, phase, planned, words))
    return rows


def plan_of(recipe: Recipe, starts: dict[int, float]) -> list[Planned]:
    """The recipe on paper, without any waiting. starts: where a phase's moving setpoint really began, degC."""
    planned: list[Planned] = []
    elapsed = 0.0
    before = starts.get(0, band(recipe.phases[0])[0])
    for number, phase in enumerate(recipe.phases):
        target = band(phase)[1 if phase.kind == "cooldown" else 0]
        begin = starts.get(number, before) if phase.kind in MOVING else target
        hours, more = _hours(phase, abs(target - begin), elapsed)
        planned.append(Planned(hours, more, begin, target))
        elapsed += hours or 0.0
        before = target
    return planned


def plan_line(planned: Sequence[Planned], end_h: float) -> tuple[list[float], list[float]]:
    """Hours and floor of the plan as a line, at most to end_h; it stops where only the product decides."""
    hours, values, at = [], [], 0.0
    for phase in planned:
        until = end_h if phase.hours is None else at + phase.hours
        hours += [at, until]
        values += [phase.from_degC, phase.to_degC]
        at = until
        if phase.hours is None:
            break
    return hours, values


def _hours(phase: Phase, distance_K: float, elapsed_h: float) -> tuple[float | None, bool]:
    end = phase.end
    by_time = [
        hours
        for hours in (end.time_h, None if end.cycle_h is None else max(0.0, end.cycle_h - elapsed_h))
        if hours is not None
    ]
    others = any((end.equivalent_age_h, end.product_degC_above, end.product_degC_below, end.strength_MPa))
    if phase.kind in MOVING and phase.rate_K_per_h:
        by_rate = distance_K / phase.rate_K_per_h
        return (max([by_rate, *by_time]) if end.match == "all" else by_rate), others
    if not by_time:
        return None, True
    return (max(by_time) if end.match == "all" else min(by_time)), others and end.match == "all"


def _starts(begins: Sequence[JournalRow]) -> dict[int, float]:
    """Where each phase's setpoint began."""
    return {
        int(row.data["phase"]): float(row.data["ceiling_degC" if row.data.get("kind") == "cooldown" else "floor_degC"])
        for row in begins
    }


def _row(
    recorded: Recorded,
    begin: JournalRow,
    end: JournalRow | None,
    end_ms: int,
    here: dict[str, list[MinuteRow]],
    phase: Phase | None,
    planned: Planned | None,
    words: Words,
) -> PhaseRow:
    air = [row.mean for row in here["TY-101"]]
    waiting = end.data.get("waiting_s") if end else None
    return PhaseRow(
        number=int(begin.data["phase"]) + 1,
        kind=str(begin.data["kind"]),
        text=phase.text if phase else "",
        setpoints=_setpoints(phase, words) if phase else "",
        begin_h=recorded.hours(begin.utc_ms),
        end_h=recorded.hours(end_ms),
        over=end is not None,
        why=str(end.data.get("why", "")) if end else "not over",
        planned=planned,
        hours=(end_ms - begin.utc_ms) / 3_600_000.0,
        waiting_h=None if waiting is None else float(waiting) / 3600.0,
        mean_degC=digits(mean(known(air)), 2),
        min_degC=digits(smallest([row.least for row in here["TY-101L"]]), 2),
        max_degC=digits(largest([row.greatest for row in here["TY-101H"]]), 2),
        rh_mean_pct=digits(mean(known([row.mean for row in here["MY-102"]])), 1),
        dew_margin_min_K=digits(smallest([row.least for row in here["TY-106"]]), 2),
        in_band_pct=_in_band(here, phase) if phase else None,
        ramp_K_per_h_max=_fastest(air),
    )


_TAGS = ("TY-101", "TY-101L", "TY-101H", "MY-102", "TY-106", "TIC-101F", "TIC-101C")


def _setpoints(phase: Phase, words: Words) -> str:
    floor, ceiling = band(phase)
    rate, fog, accept, vent = (
        phase.rate_K_per_h, phase.rh_fog_below_pct, phase.rh_accept_pct, phase.rh_vent_above_pct
    )  # fmt: skip
    return "".join((
        words("phases.setpoint" if floor == ceiling else "phases.setpoints", floor=floor, ceiling=ceiling),
        words("phases.rate", rate=rate) if phase.kind in MOVING and rate else "",
        words("phases.fog", pct=fog) if fog else words("phases.no_fog"),
        words("phases.accept", pct=accept) if accept else "",
        words("phases.vent", pct=vent) if vent else "",
        words("phases.rests", on=phase.fan_on_s / 60.0, off=phase.fan_off_s / 60.0) if phase.fan_off_s else "",
    ))


def _in_band(here: dict[str, list[MinuteRow]], phase: Phase) -> float | None:
    floor, ceiling = band(phase)
    slack = SINGLE_K if floor == ceiling or phase.kind in MOVING else 0.0
    rows = list(zip(here["TY-101"], here["TIC-101F"], here["TIC-101C"], here["MY-102"], strict=False))
    inside = sum(
        low.mean - slack <= air.mean <= high.mean + slack and humidity.mean >= phase.rh_accept_pct
        for air, low, high, humidity in rows
    )
    return round(100.0 * inside / len(rows), 1) if rows else None


def _fastest(air: list[float]) -> float | None:
    """Fastest rise of the mean over half an hour, K/h; None for a shorter phase."""
    rises = [later - earlier for earlier, later in zip(air, air[RAMP_MINUTES:], strict=False)]
    return digits(largest(rises) * 60.0 / RAMP_MINUTES, 2)
