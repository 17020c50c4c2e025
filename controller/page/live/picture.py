"""The picture of one chamber at its newest scan, as plain data: numbers in SI units, NaN as None, times as UTC ms."""

from __future__ import annotations

from typing import Any

from controller.core.alarms.alarms import active_list
from controller.core.climate.climate import Climate, observe
from controller.core.frames import Frame
from controller.core.orders.procedure import AT_REST, TABLE
from controller.core.scan import COMPUTED, ScanState
from controller.core.sequence.recipe import band
from controller.errors import DewholdError
from controller.page.live import trips
from controller.page.live.bound import Bound
from controller.page.live.byhand import overridden
from controller.page.live.face import boards_now, places_now
from controller.page.live.numbers import clean
from controller.page.live.urgency import alarm_line, call
from controller.page.live.which import channels
from controller.store.glance import Newest
from controller.store.writer import Checkpoint

_COLUMN = {tag: number for number, (tag, _text, _unit) in enumerate(COMPUTED)}


def picture(bound: Bound, newest: Newest, checkpoint: Checkpoint, state: ScanState) -> dict[str, Any]:
    """Everything that the views show, but for what takes long (plan, energy). state: of the checkpoint."""
    discrete = _contacts(bound, newest)
    frame = Frame(newest.values, newest.qualities, ("",) * len(newest.values), discrete, newest.age_scans)
    _, air = observe(bound.plan.climate, state.climate, frame, 0.0, state.aside.mask if state.aside else None)
    config = bound.plan.alarms.config
    alarms = [alarm_line(one, checkpoint, config) for one in active_list(bound.plan.alarms, state.alarms)]
    rows = bound.plan.protection
    return {
        "scan": newest.scan,
        "utc_ms": newest.utc_ms,
        "link_age_scans": newest.age_scans,
        "simulated": bool(bound.fact("simulated")),
        **_where(bound, state, newest, checkpoint),
        "air": _air(newest, bound, state),
        "dew": _dew(newest, air),
        "product": _product(newest, state),
        "asked": {
            "heat_kW": _at(newest, "JIC-103"), "vent_kg_per_s": _at(newest, "FIC-120"),
            "fog_kg_per_h": _at(newest, "FIC-102"), "fighting_kW": _at(newest, "JDI-103"),
        },
        "values": [clean(value, 2) for value in newest.values],
        "qualities": list(newest.qualities),
        "contacts": [int(on) for on in discrete],
        "outputs": [clean(value, 1) for value in state.outputs.analog] + [int(on) for on in state.outputs.discrete],
        **places_now(bound, newest, state),
        "boards": boards_now(bound, state),
        "alarms": alarms,
        "which": channels(bound.points, newest, state),
        "call": call(alarms, state.sequence.state),
        "trips": trips.tripped(rows, state.protection),
        "resettable": trips.cause_gone(rows, state.protection, discrete, newest.age_scans),
        "first_out": list(state.protection.first_out),
        "effect": state.effect,
        "by_hand": overridden(state, checkpoint),
    }  # fmt: skip


def _where(bound: Bound, state: ScanState, newest: Newest, checkpoint: Checkpoint) -> dict[str, Any]:
    """Procedural state, phase and clocks, brought up from the checkpoint to the newest scan."""
    sequence = state.sequence
    running = sequence.state == "running"
    ahead_s = (newest.scan - checkpoint.scan) * bound.header.scan_s if running else 0.0
    number = sequence.phase
    phases = bound.recipe.phases
    here = phases[number] if 0 <= number < len(phases) and sequence.state not in AT_REST else None
    return {
        "state": sequence.state,
        "legal": list(TABLE[sequence.state]),
        "recipe": bound.recipe.name,
        "recipe_version": bound.recipe.version,
        "recipe_sha256": bound.recipe_sha256,
        "mix": bound.mix.name,
        "load_t": bound.fact("load_t"),
        "mix_degC": bound.fact("mix_degC"),
        "empty_bays": [int(bay) for bay in str(bound.fact("empty_bays") or "").split(",") if bay.strip()],
        "phase": number + 1 if here else 0,
        "phases": [phase.kind for phase in phases],
        "phase_kind": here.kind if here else "",
        "phase_text": here.text if here else "",
        "by_person": bool(here and (here.end.by_operator or here.end.empty or here.kind == "fill")),
        "phase_s": sequence.phase_s + ahead_s,
        "cycle_s": sequence.cycle_s + ahead_s,
        "held_s": sequence.held_s,
        "waiting_s": sequence.waiting_s,
        "waiting_long": sequence.waiting_long,
    }


def _air(newest: Newest, bound: Bound, state: ScanState) -> dict[str, Any]:
    number = state.sequence.phase
    working = 0 <= number < len(bound.recipe.phases) and state.sequence.state not in AT_REST
    phase = bound.recipe.phases[number] if working else None
    floor, ceiling = band(phase) if phase else (None, None)
    return {
        "degC": _at(newest, "TY-101"), "min_degC": _at(newest, "TY-101L"), "max_degC": _at(newest, "TY-101H"),
        "spread_K": _at(newest, "TDI-101"), "rh_pct": _at(newest, "MY-102"),
        "rh_accept_pct": phase.rh_accept_pct if phase else None,
        "floor_degC": _at(newest, "TIC-101F") if phase else None,
        "ceiling_degC": _at(newest, "TIC-101C") if phase else None,
        "goal_floor_degC": floor, "goal_ceiling_degC": ceiling,
    }  # fmt: skip


def _dew(newest: Newest, air: Climate) -> dict[str, Any]:
    return {
        "degC": _at(newest, "MY-101"), "surface_degC": _at(newest, "TY-105"), "margin_K": _at(newest, "TY-106"),
        "surface": air.surface, "fog_below_degC": _at(newest, "MIC-101F"), "vent_above_degC": _at(newest, "MIC-101V"),
        "wanted_margin_K": clean(air.surface_degC - air.dew_limit_degC, 2),
        "g_per_kg": clean(1000.0 * air.humidity_ratio, 2),
    }  # fmt: skip


def _product(newest: Newest, state: ScanState) -> dict[str, Any]:
    seen = state.seen
    return {
        "core_degC": _at(newest, "TY-104"), "core_max_degC": _at(newest, "TY-104H"),
        "age_min_h": _at(newest, "KY-104L"), "age_mean_h": _at(newest, "KY-104M"), "age_max_h": _at(newest, "KY-104H"),
        "drying_kg_per_m2h": _at(newest, "FY-104", 4), "word": seen.word,
        "strength_MPa_min": clean(seen.strength_MPa_min, 1), "ready_share": clean(seen.ready_fraction, 3),
        "uncertain_h": clean(seen.uncertain_h, 2),
    }  # fmt: skip


def _contacts(bound: Bound, newest: Newest) -> tuple[bool, ...]:
    """The contacts; as in a healthy plant where their words cannot be read (a panel that never answered)."""
    points = [point for point in bound.points if point.kind == "DI"]
    try:
        return bound.image.decode(newest.inputs, newest.age_scans).discrete
    except DewholdError:
        return tuple(bool(point.normal) for point in points)


def _at(newest: Newest, tag: str, digits: int = 2) -> float | None:
    return clean(newest.computed[_COLUMN[tag]], digits)
