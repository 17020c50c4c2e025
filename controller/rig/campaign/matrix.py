"""The matrix of faults: every kind in every situation of a chamber, a few seeds each, one fault a run.

A run begins calm, has its one fault for ten minutes (of the wire and of people: one), is healed, and is watched until
liveness has been judged. Target and amount are drawn from the seed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from pathlib import Path
from time import perf_counter
from typing import Any

from controller.core.frames import Command
from controller.core.sequence.phase_kinds import KINDS as PHASES
from controller.errors import ConfigError, Problem
from controller.rig.campaign import chance, met, moments, pool, trial
from controller.rig.campaign.bases import BASES, params_of, session_of
from controller.rig.campaign.campaign import Asked as Runs
from controller.rig.campaign.campaign import Campaign, Show, conditions, there
from controller.rig.campaign.kept import Kept, Key
from controller.rig.campaign.moments import REST, STANDING, Moment
from controller.rig.campaign.people import WHO
from controller.rig.campaign.swarm import Case, Outage, after_healing
from controller.rig.campaign.trial import Outcome
from controller.rig.faults.wires import places
from plantsim.faults import KINDS, Fault, draw, kinds_of

BEGINS_S, LASTS_S, SHORTLY_S = 120.0, 600.0, 60.0
WATCHED_S = 990.0  # after healing: liveness is asked for at 900 s
HOURS_TO_DRAW_IN = 500.0
STOPPED_SCAN, RESTARTED_SCAN = 2, 40
STOPPED, COMING_BACK, AFTER_OUTAGE = "clock stopped", "coming back", "after an outage"


@dataclass(frozen=True, slots=True)
class Situation:
    """base, phase: which moment a run begins at. orders: given before the fault begins.
    outage: the controller has been gone, and is back before the fault begins."""

    base: str
    phase: str
    orders: tuple[tuple[int, str], ...] = ()
    outage: Outage | None = None


_STOP = (STOPPED_SCAN, "hold")
SITUATIONS: dict[str, Situation] = {
    REST: Situation("every phase", REST),
    **{kind: Situation("every phase", kind) for kind in PHASES},
    STANDING: Situation("standing", STANDING),
    STOPPED: Situation("every phase", "hold", (_STOP,)),
    COMING_BACK: Situation("every phase", "ramp", (_STOP, (RESTARTED_SCAN, "restart"))),
    AFTER_OUTAGE: Situation("every phase", "ramp", (), Outage(20.0, 60.0, crashed=True)),
}


@dataclass(frozen=True, slots=True)
class Cell:
    """One run of the matrix."""

    kind: str
    situation: str
    seed: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """seeds: of each cell, from first_seed on. kinds, situations: only these; empty = all. results: a file that
    outcomes are kept in; what stands there already is not run again.
    """

    seeds: int = 3
    first_seed: int = 1
    kinds: tuple[str, ...] = ()
    situations: tuple[str, ...] = ()
    scan_s: float = 2.0
    workers: int = 1
    results: Path | None = None


def cells(asked: Asked) -> list[Cell]:
    """Every run that is asked for. Raises ConfigError for a kind or situation that is unknown."""
    for option, given, known in (
        ("--kind", asked.kinds, kinds_of()), ("--situation", asked.situations, tuple(SITUATIONS)),
    ):
        for name in given:
            if name not in known:
                limit = f"must be one of: {', '.join(known)}"
                raise ConfigError([Problem("command line", option, name, limit, "correct the name")])
    return [
        Cell(kind, situation, seed)
        for situation in asked.situations or SITUATIONS
        for kind in asked.kinds or kinds_of()
        for seed in range(asked.first_seed, asked.first_seed + asked.seeds)
    ]


def case_of(cell: Cell, scan_s: float) -> Case:
    """The run of a cell: one fault, healed, watched."""
    situation = SITUATIONS[cell.situation]
    base = BASES[situation.base]
    short = KINDS[cell.kind].room in ("wire", "operator") and cell.kind != "hand-left-on"
    heal_s = BEGINS_S + (SHORTLY_S if short else LASTS_S)
    fault = replace(_drawn(cell.kind, cell.seed, situation.base, scan_s), start_s=BEGINS_S, length_s=heal_s - BEGINS_S)
    attended = cell.seed % 2 == 1
    before = [(scan, Command(f"before-{verb}", verb, WHO)) for scan, verb in situation.orders]
    return Case(
        seed=cell.seed, base=base, moment=_moment(situation, cell.seed, scan_s), outdoor=base.outdoor,
        hours=(heal_s + WATCHED_S) / 3600.0, scan_s=scan_s, heal_s=heal_s, faults=(fault,),
        orders=(*before, *(after_healing(heal_s, scan_s, cell.seed % 4 == 3) if attended else ())), attended=attended,
        outage=situation.outage,
    )  # fmt: skip


def run(asked: Asked, show: Show, stopped: pool.Stopped = lambda: False) -> tuple[Campaign, dict[Cell, Outcome]]:
    """Every cell. The campaign counts them all."""
    every = cells(asked)
    kept = Kept(asked.results, {"matrix": True, "scan_s": asked.scan_s})
    found = {cell: kept.outcomes[_key(cell)] for cell in every if _key(cell) in kept.outcomes}
    left = [cell for cell in every if cell not in found]
    campaign = Campaign(
        Runs(seeds=len(every), first_seed=asked.first_seed, scan_s=asked.scan_s, workers=asked.workers),
        outcomes=list(found.values()), before=len(found),
    )  # fmt: skip
    for name in sorted({SITUATIONS[cell.situation].base for cell in left}):
        show(0.0, f"quiet cycle to begin from: {name}")
        moments.prepare(name, asked.scan_s)
    began = perf_counter()
    for cell, outcome in pool.results(partial(_lived, asked.scan_s), left, asked.workers, stopped):
        found[cell] = outcome
        kept.add(_key(cell), outcome)
        campaign.outcomes.append(outcome)
        show(min(len(found) / len(every), 0.999), f"{len(found)} of {len(every)} runs, {len(campaign.failing)} broken")
    campaign.wall_s = perf_counter() - began
    campaign.interrupted = len(found) < len(every)
    show(1.0, f"{len(found)} of {len(every)} runs, {len(campaign.failing)} broken")
    return campaign, found


def as_json(campaign: Campaign, found: dict[Cell, Outcome], asked: Asked) -> dict[str, Any]:
    """Figures as of a campaign, and every cell with how many of its runs were broken."""
    return {
        "chamber_days": round(campaign.chamber_days, 3),
        "runs": len(found),
        "faults": len(found),
        "violations": len(campaign.failing),
        "scans_per_s": campaign.scans_per_s,
        "failing": [_failing(cell, one, asked) for cell, one in found.items() if one.violation is not None],
        "broken": {
            kind: {situation: sum(one.violation is not None for one in runs) for situation, runs in row.items()}
            for kind, row in _by_kind(found).items()
        },
        "conditions": conditions(campaign),
        "met": met.counted(one.met for one in found.values()),
        "runs_from_file": campaign.before,
        "interrupted": campaign.interrupted,
    }


def table(campaign: Campaign, found: dict[Cell, Outcome], asked: Asked) -> str:
    """Kinds against situations: how many runs, and in words every one that was broken."""
    rows = _by_kind(found)
    names = [name for name in SITUATIONS if any(name in row for row in rows.values())]
    width = max([len(kind) for kind in rows], default=4)
    head = [f"{'kind':<{width}}  {'room':<8}  " + "  ".join(names)]
    for kind, row in rows.items():
        marks = [_mark(row.get(name, ())).ljust(len(name)) for name in names]
        head.append(f"{kind:<{width}}  {KINDS[kind].room:<8}  " + "  ".join(marks).rstrip())
    figures = as_json(campaign, found, asked)
    lines = [
        *head,
        "",
        "a figure: so many runs, nothing broken; with !: so many of them broken",
        f"{figures['runs']} runs, {figures['chamber_days']:.2f} chamber-days"
        + (" (interrupted)" if campaign.interrupted else ""),
        "",
        "how the chamber was at the end of each run, a quarter of an hour and more after everything was healed:",
        *[f"  {count:>5}  {condition}" for condition, count in figures["conditions"].items()],
        "",
        *met.lines(figures["met"], there()),
        "",
    ]
    for one in figures["failing"]:
        lines += [
            f"{one['kind']} in {one['situation']}, seed {one['seed']}: {one['violation']}: {one['what']}",
            f"  see it again: {one['command']}",
        ]
    return "\n".join([*lines, f"broken: {figures['violations']}"])


def _key(cell: Cell) -> Key:
    return (cell.kind, cell.situation, cell.seed)


def _lived(scan_s: float, cell: Cell) -> tuple[Cell, Outcome]:
    return cell, trial.run(case_of(cell, scan_s))


def _moment(situation: Situation, seed: int, scan_s: float) -> Moment:
    """One of the moments in this phase; at rest it is the last, when the cycle is over and nobody starts another."""
    found = [moment for moment in moments.known(situation.base, scan_s) if moment.situation == situation.phase]
    if situation.phase == REST:
        return found[-1]
    return found[int(chance.number(seed, "where") * len(found))]


@lru_cache(maxsize=1024)
def _drawn(kind: str, seed: int, name: str, scan_s: float) -> Fault:
    """Target and amount of a cell: the first fault of this kind that a seed draws which has the kind at all."""
    base = BASES[name]
    session = session_of(base, scan_s)
    where = places(params_of(base.plant), session.bundle.points, session.image)
    number = seed
    while True:
        found: Sequence[Fault] = draw(number, HOURS_TO_DRAW_IN, where, (kind,), dt_s=scan_s)
        if found:
            return found[0]
        number += 1_000_003  # a seed far away


def _by_kind(found: dict[Cell, Outcome]) -> dict[str, dict[str, list[Outcome]]]:
    rows: dict[str, dict[str, list[Outcome]]] = {}
    for cell, outcome in found.items():
        rows.setdefault(cell.kind, {}).setdefault(cell.situation, []).append(outcome)
    return {kind: rows[kind] for kind in kinds_of() if kind in rows}


def _mark(runs: Sequence[Outcome]) -> str:
    broken = sum(one.violation is not None for one in runs)
    return "-" if not runs else f"{broken}!{len(runs)}" if broken else str(len(runs))


def _failing(cell: Cell, one: Outcome, asked: Asked) -> dict[str, Any]:
    found = one.violation
    assert found is not None
    scan = "" if asked.scan_s == Asked().scan_s else f" --scan {asked.scan_s:g}"
    where = f"--kind {cell.kind} --situation '{cell.situation}' --seeds 1 --first-seed {cell.seed}"
    return {
        "seed": cell.seed, "kind": cell.kind, "situation": cell.situation, "violation": found.rule,
        "scan": found.scan, "time_h": round(found.scan * one.scan_s / 3600.0, 4), "what": found.what,
        "command": f"dewhold campaign --matrix {where}{scan} --workers 1",
    }  # fmt: skip
