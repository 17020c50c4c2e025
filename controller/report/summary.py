"""The content of summary.json: the parts that a simulated cycle and a real one share, and the whole of a real one."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from controller import __version__
from controller.config.loader import Loaded
from controller.core.alarms.figures import Occurrence, figures
from controller.core.sequence.recipe import Recipe, band
from controller.report import kpis
from controller.store.reader import JournalRow

Summary = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """What a run was, beside its record. seed: None where nothing is simulated by us."""

    chamber: str
    recipe: Recipe
    files: Mapping[str, Loaded[Any]]
    mix: str
    load_t: float
    mix_degC: float
    seed: int | None
    link: str
    scan_s: float
    scans: int
    wall_s: float
    scan_us: Mapping[str, float]
    exchange_us: Mapping[str, float]
    trace_sha256: str
    invariants_broken: int
    finished: bool
    ready_age_h: float
    ready_forecast: Mapping[str, float | None] | None = None  # as made at the start: forecast, forecast_low, ..._high


def assemble(
    run: Run,
    *,
    verdict: tuple[str, list[str]],
    trips: list[str],
    alarms: list[Summary],
    by_hand: list[Summary],
    closure: Summary | None,
    used: Mapping[str, Any],
    ready_h: float | None,
    truth: Summary | None,
    believed: Summary,
) -> Summary:
    """Every key of a summary, in the order in which people read it. used: energy_kWh, water_kg and fighting."""
    tonnes, energy, water = run.load_t, used["energy_kWh"], used["water_kg"]
    return {
        "version": __version__,
        "chamber": run.chamber,
        "recipe": run.recipe.name,
        "recipe_sha256": run.files["recipe"].sha256,
        "mix": run.mix,
        "load_t": tonnes,
        "mix_degC": run.mix_degC,
        "seed": run.seed,
        "link": run.link,
        "scan_s": run.scan_s,
        "scans": run.scans,
        "simulated_s": run.scans * run.scan_s,
        "wall_s": round(run.wall_s, 3),
        "scan_us": dict(run.scan_us),
        "exchange_us": dict(run.exchange_us),
        "finished": run.finished,
        "verdict": verdict[0],
        "reasons": verdict[1],
        "trips": trips,
        "alarms": alarms,
        "alarm_load": alarm_load(alarms, run.scans * run.scan_s),
        "by_hand": by_hand,
        "invariants_broken": run.invariants_broken,
        "trace_sha256": run.trace_sha256,
        "closure": closure,
        "energy_kWh": energy,
        "water_kg": water,
        "per_tonne": {
            "energy_kWh": round(sum(energy.values()) / tonnes, 3) if tonnes else None,
            "water_kg": round(water["fog"] / tonnes, 3) if tonnes else None,
        },
        "fighting": used["fighting"],
        "ready_age_h": run.ready_age_h,
        "ready_h": {**(run.ready_forecast or {"forecast": None}), "actual": ready_h},
        "truth": truth,
        "believed": believed,
    }


def late_h(run: Run, ready_h: float | None) -> float | None:
    """How much later than forecast at the start it was ready; None where either is not known."""
    said = run.ready_forecast["forecast"] if run.ready_forecast else None
    return None if said is None or ready_h is None else round(ready_h - said, 2)


def asked_band(recipe: Recipe) -> kpis.Band:
    """What the first hold of a recipe asks for; the last phase where there is no hold."""
    phase = next((phase for phase in recipe.phases if phase.kind == "hold"), recipe.phases[-1])
    floor, ceiling = band(phase)
    return kpis.Band(
        floor_degC=floor,
        ceiling_degC=ceiling,
        fog_below_pct=phase.rh_fog_below_pct,
        accept_pct=phase.rh_accept_pct,
    )


def trips_of(journal: Iterable[JournalRow]) -> list[str]:
    """Tags that tripped, each once, first first."""
    return list(dict.fromkeys(row.tag for row in journal if row.kind == "trip"))


def alarms_of(journal: Iterable[JournalRow], start_ms: int, end_s: float) -> list[Summary]:
    """Every alarm with its begin and end in seconds after the start; one still active ends with the cycle."""
    alarms: list[Summary] = []
    open_by_tag: dict[str, Summary] = {}
    for row in journal:
        if row.kind != "alarm" or row.data.get("what", "comes") not in ("comes", "goes"):
            continue  # a flood, a chatter or the end of a shelf is no alarm of its own
        at_s = round((row.utc_ms - start_ms) / 1000.0, 3)
        if _goes(row):
            if row.tag in open_by_tag:
                open_by_tag.pop(row.tag)["to_s"] = at_s
        elif row.tag not in open_by_tag:
            entry = {
                "tag": row.tag,
                "text": row.text,
                "from_s": at_s,
                "to_s": round(end_s, 3),
                "priority": row.data.get("priority", "low"),
            }
            open_by_tag[row.tag] = entry
            alarms.append(entry)
    return alarms


def alarm_load(alarms: list[Summary], length_s: float) -> Summary:
    """How busy they kept a person: figures of core.alarm_figures, over a cycle only an indication."""
    came = [Occurrence(one["tag"], one["priority"], one["from_s"], one["to_s"]) for one in alarms]
    found = figures(came, min([0.0, *[one.came_s for one in came]]), max(length_s, 1.0))
    return {
        "alarms": found.alarms,
        "per_10_min": round(found.per_10_min, 3),
        "most_in_10_min": found.most_in_10_min,
        "flood_pct": round(found.flood_pct, 2),
        "chattering": list(found.chattering),
        "most_often": [list(pair) for pair in found.top[:3]],
    }


def _goes(row: JournalRow) -> bool:
    """Alarms of the chamber say "comes" and "goes", those of the runtime active or not."""
    return row.data.get("what") == "goes" or row.data.get("active") is False
