"""The summary of a simulated cycle: what was true beside what was believed, what it cost, and the verdict."""

from __future__ import annotations

from dataclasses import replace
from math import inf

from controller.config import outlook as files
from controller.config.rules import verdict_rules
from controller.core.outlook.forecast import Case, forecast
from controller.report import believed, bridged, outlook
from controller.report.overrides import deviating, overrides_of
from controller.report.summary import (
    Run,
    Summary,
    alarms_of,
    asked_band,
    assemble,
    late_h,
    trips_of,
)
from controller.report.verdict import Findings, judge
from controller.rig import truth
from controller.rig.cycle import Ran
from controller.rig.faults.faultfile import listed
from controller.rig.standing import standing
from controller.rig.whatif import told as whatif
from controller.store.reader import Reader


def summarise(ran: Ran) -> Summary:
    """The content of summary.json."""
    options, report, bundle = ran.options, ran.report, ran.bundle
    rows, dt_s = ran.plant.log.known(), options.scene.dt_s
    asked = asked_band(bundle.recipe)
    room = ran.plant.params.room
    of_product = truth.with_product(rows[: ran.product])
    true = truth.block(of_product, dt_s, ran.hold, asked, room)
    stood = None if ran.standing is None else standing.block(ran.standing, rows, dt_s, ran.hold)
    with Reader(options.out / "record.sqlite") as reader:
        held_s = (ran.hold[0] * dt_s, ran.hold[1] * dt_s)
        known = believed.block(reader, ran.start_ms, held_s, asked, ran.product * dt_s)
        journal = reader.journal()
    bridged.mark(known, journal)
    trips, alarms = trips_of(journal), alarms_of(journal, ran.start_ms, report.scans * dt_s)
    by_hand = overrides_of(journal, ran.start_ms, ran.start_ms + round(1000 * report.scans * dt_s))
    finished = report.state.sequence.state == "complete"
    closure = ran.plant.chamber.books
    facts = _run(ran, finished)
    ready_h = truth.ready_h(of_product, dt_s, bundle.chamber.product.ready_age_h)
    judged = _found(ran, true, stood, trips, finished, late_h(facts, ready_h))
    found = assemble(
        facts,
        verdict=judge(verdict_rules(), replace(judged, bypasses=deviating(by_hand))),
        trips=trips,
        alarms=alarms,
        by_hand=by_hand,
        closure={"energy_rel": abs(closure.energy_closure), "water_rel": abs(closure.water_closure)},
        used=truth.used(rows, dt_s),
        ready_h=ready_h,
        truth=true,
        believed=known,
    )
    if options.scene.faults:
        found["faults"] = listed(options.scene.faults, report.scans * dt_s)
    if options.scene.what_if:
        found = {"what_if": whatif.listed(options.scene.what_if), **found}
    if options.scene.filling:
        found["charges"] = truth.charges(rows, closure)
    if stood is not None:
        turnover = stood["turnover"]  # not what stands inside, but what has passed through
        found["per_tonne"] = {"energy_kWh": turnover["energy_kWh_per_t"], "water_kg": turnover["fog_kg_per_t"]}
        found["standing"] = stood
    return found


def _run(ran: Ran, finished: bool) -> Run:
    options, report, bundle = ran.options, ran.report, ran.bundle
    return Run(
        chamber=bundle.chamber.name,
        recipe=bundle.recipe,
        files=bundle.files,
        mix=bundle.mix.name,
        load_t=options.scene.charge.tonnes,
        mix_degC=options.scene.charge.mix_degC,
        seed=options.scene.seed,
        link=options.link,
        scan_s=options.scene.dt_s,
        scans=report.scans,
        wall_s=report.wall_s,
        scan_us=report.scan_us,
        exchange_us=report.exchange_us,
        trace_sha256=report.trace_sha256,
        invariants_broken=report.invariants_broken,
        finished=finished,
        ready_age_h=bundle.chamber.product.ready_age_h,
        ready_forecast=None if ran.standing is not None else _forecast(ran),
    )


def _forecast(ran: Ran) -> dict[str, float | None]:
    """When all will be ready, as said at the start; in a standing climate there is no such time."""
    room = files.room(ran.bundle.chamber, ran.options.scene.charge.empty_bays)
    return outlook.ready(forecast(room, ran.bundle.recipe, ran.bundle.mix, _case(ran)))


def _case(ran: Ran) -> Case:
    """What was known at the start: the charge, and the weather that was forecast, here the true one."""
    scene = ran.options.scene
    outdoor = [scene.weather.at(3600.0 * hour) for hour in range(72)]
    return Case(
        load_t=scene.charge.tonnes, mix_degC=scene.charge.mix_degC, outdoor=outdoor, age_h=scene.charge.age_h
    )


def _found(
    ran: Ran, true: Summary, stood: Summary | None, trips: list[str], finished: bool, ready_late_h: float | None
) -> Findings:
    """What the rules look at; of a standing climate settled air and boards, and no time at which all is ready."""
    found = _findings(ran, true, trips, finished, ready_late_h)
    if stood is None:
        return found
    air, doors = stood["settled_air"], stood["doors"]
    return replace(
        found,
        board_film_kg_per_m2=stood["settled_board_film_kg_per_m2_max"],
        in_band_pct=air["all_inside_pct"],
        drying_kg_per_m2h=None,
        standing_drying_kg_per_m2h=found.drying_kg_per_m2h,
        ready_late_h=None,
        settled_off_K=air["off_K_max"],
        door_recovery_min=inf if doors["judged"] and doors["recovery_min_max"] is None else doors["recovery_min_max"],
    )


def _findings(ran: Ran, true: Summary, trips: list[str], finished: bool, ready_late_h: float | None) -> Findings:
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
        ready_late_h=ready_late_h,
        outages=0,
        bypasses=(),
        drives_in_hand=(),
    )

