"""The summary of a simulated cycle: what was true beside what was believed, what it cost, and the verdict."""

from __future__ import annotations

from typing import Any

from controller import __version__
from controller.config.find import SHIPPED
from controller.config.loader import load
from controller.core.recipe import Recipe, band
from controller.report import believed, kpis
from controller.report.verdict import Findings, VerdictRules, judge
from controller.rig import truth
from controller.rig.cycle import Ran
from controller.store.reader import JournalRow, Reader

Summary = dict[str, Any]


def summarise(ran: Ran) -> Summary:
    """The content of summary.json."""
    options, report, bundle = ran.options, ran.report, ran.bundle
    rows, dt_s = ran.plant.log.known(), options.scene.dt_s
    asked = asked_band(bundle.recipe)
    room = ran.plant.params.room
    true = truth.block(rows, dt_s, ran.hold, asked, room.bays, room.levels)
    spent = truth.used(rows, dt_s)
    ready_age_h = bundle.chamber.product.ready_age_h
    actual_h = truth.ready_h(rows, dt_s, ready_age_h)
    with Reader(options.out / "record.sqlite") as reader:
        known = believed.block(reader, ran.start_ms, (ran.hold[0] * dt_s, ran.hold[1] * dt_s), asked)
        journal = reader.journal()
    trips, alarms = trips_of(journal), alarms_of(journal, ran.start_ms, report.scans * dt_s)
    finished = report.state.sequence.state == "complete"
    verdict, reasons = judge(_rules(), _findings(ran, true, trips, finished))
    tonnes = options.scene.charge.tonnes
    closure = ran.plant.chamber.books
    return {
        "version": __version__,
        "chamber": bundle.chamber.name,
        "recipe": bundle.recipe.name,
        "recipe_sha256": bundle.files["recipe"].sha256,
        "mix": bundle.mix.name,
        "load_t": tonnes,
        "mix_degC": options.scene.charge.mix_degC,
        "seed": options.scene.seed,
        "link": options.link,
        "scan_s": dt_s,
        "scans": report.scans,
        "simulated_s": report.scans * dt_s,
        "wall_s": round(report.wall_s, 3),
        "scan_us": report.scan_us,
        "exchange_us": report.exchange_us,
        "finished": finished,
        "verdict": verdict,
        "reasons": reasons,
        "trips": trips,
        "alarms": alarms,
        "invariants_broken": report.invariants_broken,
        "trace_sha256": report.trace_sha256,
        "closure": {"energy_rel": abs(closure.energy_closure), "water_rel": abs(closure.water_closure)},
        "energy_kWh": spent["energy_kWh"],
        "water_kg": spent["water_kg"],
        "per_tonne": {
            "energy_kWh": round(sum(spent["energy_kWh"].values()) / tonnes, 3) if tonnes else None,
            "water_kg": round(spent["water_kg"]["fog"] / tonnes, 3) if tonnes else None,
        },
        "fighting": spent["fighting"],
        "ready_age_h": ready_age_h,
        "ready_h": {"forecast": None, "actual": actual_h},
        "truth": true,
        "believed": known,
    }


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


def trips_of(journal: list[JournalRow]) -> list[str]:
    """Tags that tripped, each once, first first."""
    return list(dict.fromkeys(row.tag for row in journal if row.kind == "trip"))


def alarms_of(journal: list[JournalRow], start_ms: int, end_s: float) -> list[Summary]:
    """Every alarm with its begin and end in seconds after the start; one still active ends with the cycle."""
    alarms: list[Summary] = []
    open_by_tag: dict[str, Summary] = {}
    for row in journal:
        if row.kind != "alarm":
            continue
        at_s = round((row.utc_ms - start_ms) / 1000.0, 3)
        if row.data.get("active", True):
            entry = {
                "tag": row.tag,
                "text": row.text,
                "from_s": at_s,
                "to_s": round(end_s, 3),
                "priority": row.data.get("priority", "low"),
            }
            open_by_tag[row.tag] = entry
            alarms.append(entry)
        elif row.tag in open_by_tag:
            open_by_tag.pop(row.tag)["to_s"] = at_s
    return alarms


def _findings(ran: Ran, true: Summary, trips: list[str], finished: bool) -> Findings:
    hold = true["hold"]
    return Findings(
        trips=trips,
        invariants_broken=ran.report.invariants_broken,
        finished=finished,
        board_film_kg_per_m2=true["board_film_kg_per_m2_max"],
        core_degC_max=true["product"]["core_degC_max"],
        in_band_pct=hold["in_band_pct"],
        hold_hours=hold["hours"],
        drying_kg_per_m2h=true["drying_kg_per_m2h"]["mean"],
        ready_late_h=None,
        outages=0,
        bypasses=0,
        drives_in_hand=(),
    )


def _rules() -> VerdictRules:
    return load(SHIPPED / "verdict.toml", VerdictRules)
