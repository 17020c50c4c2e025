"""The summary of a cycle of which only the record is left: what was believed. Outages in it are found and counted."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from math import inf
from typing import NamedTuple

from controller.config.rules import verdict_rules
from controller.core.climate.climate import ClimateConfig
from controller.core.orders.procedure import AT_REST
from controller.core.sequence.phase_kinds import EMPTY
from controller.core.sequence.recipe import keeps_places
from controller.report import believed, bridged
from controller.report.kpis import known
from controller.report.overrides import deviating, overrides_of
from controller.report.summary import Run, Summary, alarms_of, asked_band, assemble, late_h, trips_of
from controller.report.verdict import Findings, judge
from controller.store.reader import JournalRow, Reader

WINDOW_MINUTES = 10  # heating against venting is counted in windows of ten minutes
FIGHTING_kW_MIN = 0.1


class Span(NamedTuple):
    """Where in time a cycle lies, UTC ms: from its start, its hold from and to (equal: no hold), to its end."""

    began: int
    hold_from: int
    hold_to: int
    ended: int


def summarise(reader: Reader, run: Run) -> Summary:
    """summary.json of the newest cycle in the record, without truth."""
    journal = reader.journal()
    span = span_of(journal, reader.last_scan())
    by_hand = overrides_of(journal, span.began, span.ended)
    journal = [row for row in journal if row.utc_ms >= span.began]
    asked = asked_band(run.recipe)
    hold_s = (1e-3 * (span.hold_from - span.began), 1e-3 * (span.hold_to - span.began))
    emptied = emptied_ms(journal)
    until_s = inf if emptied is None else 1e-3 * (emptied - span.began)
    block = believed.block(reader, span.began, hold_s, asked, until_s)
    bridged.mark(block, journal)
    trips = trips_of(journal)
    alarms = alarms_of(journal, span.began, 1e-3 * (span.ended - span.began))
    ages = [row for row in reader.minutes("KY-104L", span.began) if emptied is None or row.utc_ms < emptied]
    ready_h = believed.ready_h(ages, run.ready_age_h)
    found = replace(
        _findings(run, block, journal, alarms, trips),
        ready_late_h=late_h(run, ready_h),
        bypasses=deviating(by_hand),
    )
    return assemble(
        run,
        verdict=judge(verdict_rules(), found),
        trips=trips,
        alarms=alarms,
        by_hand=by_hand,
        closure=None,
        used=_used(reader, run.files["chamber"].value.climate, span.began),
        ready_h=ready_h,
        truth=None,
        believed=block,
    )


def span_of(journal: list[JournalRow], last: tuple[int, int] | None) -> Span:
    """The newest cycle in the journal; the whole record when none was started. last: (scan, utc_ms) of the record."""
    ended = last[1] if last else 0
    began = next(
        (row for row in reversed(journal) if row.kind == "state" and row.data.get("from") == "idle"),
        None,
    )
    if began is None:
        first = journal[0].utc_ms if journal else 0
        return Span(first, ended, ended, ended)
    later = [row for row in journal if row.id > began.id]
    holds = [row for row in later if row.kind == "phase" and row.data.get("kind") == "hold"]
    hold = next((row.utc_ms for row in holds if row.data.get("what") == "begin"), None)
    over = next((row.utc_ms for row in reversed(holds) if row.data.get("what") == "end"), None)
    rest = next((row.utc_ms for row in later if row.kind == "state" and row.data.get("to") in AT_REST), ended)
    return Span(began.utc_ms, rest if hold is None else hold, rest if over is None else over, ended)


def emptied_ms(journal: Iterable[JournalRow]) -> int | None:
    """When the first phase without product began, UTC ms: figures of product end there. None when there was none."""
    begins = (row for row in journal if row.kind == "phase" and row.data.get("what") == "begin")
    return next((row.utc_ms for row in begins if row.data.get("kind") in EMPTY), None)


def _used(reader: Reader, meters: ClimateConfig, from_ms: int) -> dict[str, dict[str, float]]:
    """Energy by consumer and fog water as metered; heating against venting as control saw it."""
    fought = [row.mean for row in reader.minutes("JDI-103", from_ms)]
    windows = [known(fought[n : n + WINDOW_MINUTES]) for n in range(0, len(fought), WINDOW_MINUTES)]
    busy = sum(1 for window in windows if window and sum(window) / len(window) > FIGHTING_kW_MIN)
    energy = {
        "heat": believed.energy_kWh(reader.minutes(meters.heat_power, from_ms)),
        "fan": believed.energy_kWh(reader.minutes(meters.fan_power, from_ms)),
    }
    return {
        "energy_kWh": {name: round(value, 2) + 0.0 for name, value in energy.items()},
        "water_kg": {"fog": round(believed.energy_kWh(reader.minutes(meters.fog_flow, from_ms)), 2)},
        "fighting": {"hours": round(busy * WINDOW_MINUTES / 60.0, 2), "kWh": round(sum(known(fought)) / 60.0, 2)},
    }


def _findings(run: Run, block: Summary, journal: list[JournalRow], alarms: list[Summary], trips: list[str]) -> Findings:
    hold = block["hold"]
    return Findings(
        trips=trips,
        invariants_broken=run.invariants_broken,
        finished=run.finished,
        board_film_kg_per_m2=None,
        core_degC_max=block["product"]["core_degC_max"],
        in_band_pct=hold["in_band_pct"],
        hold_hours=hold["hours"],
        drying_kg_per_m2h=block["drying_kg_per_m2h"]["mean"],
        ready_late_h=None,
        dew_margin_K=None if keeps_places(run.recipe) else hold["dew_margin_K"]["min"],
        outages=sum(1 for row in journal if row.tag == "OUTAGE"),
        bypasses=(),
        drives_in_hand=tuple(dict.fromkeys(alarm["text"] for alarm in alarms if alarm["tag"] == "in-hand")),
    )
