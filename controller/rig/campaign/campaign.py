"""A campaign: the runs of many seeds, counted, with the command that replays each one that failed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from time import perf_counter
from typing import Any

from controller.rig.campaign import met, moments, pool, swarm, trial
from controller.rig.campaign.bases import BASES, session_of
from controller.rig.campaign.kept import Kept
from controller.rig.campaign.trial import Outcome

Show = Callable[[float, str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """seeds: how many, from first_seed on; hours: of each run, the last half hour of it healed. results: a file that
    outcomes are kept in; what stands there already is not run again.
    """

    seeds: int = 24
    first_seed: int = 1
    hours: float = 4.0
    scan_s: float = 2.0
    workers: int = 1
    results: Path | None = None


@dataclass(slots=True)
class Campaign:
    """What has been done so far. before: so many of the outcomes were there already. interrupted: not everything that
    was asked for.
    """

    asked: Asked
    outcomes: list[Outcome] = field(default_factory=list)
    before: int = 0
    wall_s: float = 0.0
    interrupted: bool = False

    @property
    def failing(self) -> list[Outcome]:
        """Outcomes with a violation, by seed."""
        return sorted((one for one in self.outcomes if one.violation is not None), key=lambda one: one.seed)

    @property
    def chamber_days(self) -> float:
        """Time lived in all runs together."""
        return sum(one.scans * one.scan_s for one in self.outcomes) / 86_400.0

    @property
    def scans_per_s(self) -> float | None:
        """Speed of what was run now; None when nothing was."""
        scans = sum(one.scans for one in self.outcomes[self.before :])
        return round(scans / self.wall_s, 1) if scans and self.wall_s > 0.0 else None


def run(asked: Asked, show: Show, stopped: pool.Stopped = lambda: False) -> Campaign:
    """Run the seeds; first the quiet cycles that they branch off from, where those have not been simulated yet."""
    campaign = Campaign(asked)
    kept = Kept(asked.results, {"hours": asked.hours, "scan_s": asked.scan_s})
    every = range(asked.first_seed, asked.first_seed + asked.seeds)
    campaign.outcomes += [outcome for (seed,), outcome in kept.outcomes.items() if seed in every]
    campaign.before = len(campaign.outcomes)
    seeds = [seed for seed in every if (seed,) not in kept.outcomes]
    names = sorted({name for seed in seeds if (name := swarm.base_of(seed)) is not None}, key=list(BASES).index)
    for done, name in enumerate(pool.results(partial(_prepared, asked.scan_s), names, asked.workers, stopped), 1):
        show(0.0, f"quiet cycles to begin from: {done} of {len(names)}, {name}")
    began = perf_counter()
    work = partial(_lived, asked.hours, asked.scan_s)
    for outcome in pool.results(work, seeds, asked.workers, stopped):
        kept.add((outcome.seed,), outcome)
        campaign.outcomes.append(outcome)
        done, failed = len(campaign.outcomes), len(campaign.failing)
        show(min(done / asked.seeds, 0.999), f"{campaign.chamber_days:.1f} chamber-days, {failed} violations")
    campaign.wall_s = perf_counter() - began
    campaign.interrupted = len(campaign.outcomes) < asked.seeds
    show(1.0, f"{campaign.chamber_days:.1f} chamber-days, {len(campaign.failing)} violations")
    return campaign


def as_json(campaign: Campaign) -> dict[str, Any]:
    """The figures, and of every failing seed what was found and how to see it again."""
    counts = met.counted(one.met for one in campaign.outcomes)
    return {
        "chamber_days": round(campaign.chamber_days, 3),
        "runs": len(campaign.outcomes),
        "faults": sum(one.faults for one in campaign.outcomes),
        "violations": len(campaign.failing),
        "scans_per_s": campaign.scans_per_s,
        "failing": [_failing(one, campaign.asked) for one in campaign.failing],
        "conditions": conditions(campaign),
        "met": counts,
        "not_met": met.missing(counts, there()),
        "lacking": met.lacking(counts, there()),
        "seeds": [campaign.asked.first_seed, campaign.asked.first_seed + campaign.asked.seeds - 1],
        "hours": campaign.asked.hours,
        "scan_s": campaign.asked.scan_s,
        "workers": campaign.asked.workers,
        "runs_from_file": campaign.before,
        "wall_s": round(campaign.wall_s, 2),
        "interrupted": campaign.interrupted,
    }


def table(campaign: Campaign) -> str:
    """The same for people."""
    asked, found = campaign.asked, as_json(campaign)
    speed = found["scans_per_s"] or 0.0
    processes = "one process" if asked.workers == 1 else f"{asked.workers} processes"
    lines = [
        f"{found['chamber_days']:.2f} chamber-days in {found['runs']} runs of {asked.hours:g} h, seeds "
        f"{found['seeds'][0]} to {found['seeds'][1]}" + (" (interrupted)" if campaign.interrupted else ""),
        f"{found['faults']} faults; {speed:.0f} scans/s, {speed * asked.scan_s:.0f} times real time, {processes}",
        "",
        "how the chamber was at the end of each run, half an hour after everything was healed:",
        *[f"  {count:>5}  {condition}" for condition, count in found["conditions"].items()],
        "",
        *met.lines(found["met"], there()),
        "",
    ]
    for one in found["failing"]:
        lines += [
            f"seed {one['seed']}: {one['violation']} at {one['time_h']:.3f} h (scan {one['scan']}): {one['what']}",
            f"  see it again: {one['command']}",
        ]
    return "\n".join([*lines, f"violations: {found['violations']}"])


def replay(seed: int, asked: Asked) -> str:
    """The one command that runs a seed again."""
    scan = "" if asked.scan_s == Asked().scan_s else f" --scan {asked.scan_s:g}"
    return f"dewhold campaign --seeds 1 --first-seed {seed} --hours {asked.hours:g}{scan} --workers 1"


def _prepared(scan_s: float, name: str) -> str:
    moments.prepare(name, scan_s)
    return name


def _lived(hours: float, scan_s: float, seed: int) -> Outcome:
    return trial.run(swarm.case_of(seed, hours, scan_s))


def _failing(one: Outcome, asked: Asked) -> dict[str, Any]:
    found = one.violation
    assert found is not None
    return {
        "seed": one.seed,
        "violation": found.rule,
        "scan": found.scan,
        "time_h": round(found.scan * one.scan_s / 3600.0, 4),
        "what": found.what,
        "command": replay(one.seed, asked),
    }


def conditions(campaign: Campaign) -> dict[str, int]:
    """In what condition the chambers were at the end, and how many of them."""
    found = [one.condition or "violated" for one in campaign.outcomes]
    return {name: found.count(name) for name in sorted(set(found), key=lambda one: -found.count(one))}


def there() -> dict[str, frozenset[str]]:
    """All that runs of a campaign could meet."""
    return met.there_is(session_of(base, Asked().scan_s) for base in BASES.values())
