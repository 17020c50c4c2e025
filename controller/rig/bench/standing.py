"""Bench rows of the everyday mode: three days of continuous filling in the demo chamber made for it, in truth."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from controller.config.filling import load_filling
from controller.rig import filling
from controller.rig.bench.rows import Found, Measured, Target
from controller.rig.cycle import Options, Ran, run
from controller.rig.plant import scene
from controller.rig.standing import standing
from plantsim.filling import Filling

NAME = "standing"
DAYS = 3
SITE = "demo-standing"  # chamber and model
TARGETS = (
    Target(name="standing: furthest settled cell from 32 degC", unit="K", must=1.0, dream=0.5, of_hold=True),
    Target(name="standing: settled cells within 1 K, of cells and time", unit="%", must=100.0, at_least=True,
           of_hold=True),
    Target(name="standing: settled board film, most", unit="kg/m2", must=0.005, dream=0.0, of_hold=True),
    Target(name="standing: recovery after a door, longest", unit="min", must=10.0, of_hold=True),
    Target(name="standing: RH of settled cells, mean", unit="%", of_hold=True),
    Target(name="standing: wetting of newcomers, mean", unit="kg/m2"),
    Target(name="standing: product a day", unit="t"),
    Target(name="standing: energy", unit="kWh/t"),
    Target(name="standing: fog water", unit="kg/t"),
    Target(name="standing: three days, direct link", unit="s", per_s=1.0),
)  # fmt: skip


def demo(
    out: Path, hours: float = 24.0 * DAYS, scan_s: float = 1.0, *, site: str = SITE, moves: Filling | None = None,
    outdoor: tuple[float, float] = (8.0, 80.0),
) -> Options:
    """The demo as `sh tools/run --standing` runs it, but over the direct link; or the same with something else."""
    if moves is None:
        moves = filling.moves(load_filling("days"))
    return Options(
        scene=scene(plant=site, filling=moves, mix_degC=32.0, outdoor=(outdoor,), dt_s=scan_s),
        chamber=site, recipe="standing", link="direct", start=datetime(2026, 3, 2, 5, 0, tzinfo=UTC),
        hours_max=hours, out=out,
    )  # fmt: skip


def figures(out: Path, show: Callable[[float, str], None]) -> tuple[Found, float]:
    """(every row, hours of the hold)."""
    out.mkdir(parents=True, exist_ok=True)
    seen: list[tuple[float, float]] = []

    def watch(fraction: float, note: str) -> None:
        seen.append((time.perf_counter(), time.process_time()))
        show(fraction, note)

    ran = run(demo(out), watch)
    wall_s, cpu_s = (end - begin for begin, end in zip(seen[0], seen[-1], strict=True))
    note = f"{cpu_s:.1f} s of CPU"
    hours = (ran.hold[1] - ran.hold[0]) * ran.options.scene.dt_s / 3600.0
    return {**rows(_block(ran)), TARGETS[-1].name: Measured(value=wall_s, note=note)}, hours


def rows(block: dict[str, Any]) -> Found:
    """Every row that the block `standing` of a summary tells."""
    air, new, turnover = block["settled_air"], block["newcomers"], block["turnover"]
    doors, wetted = block["doors"], new["wetted_kg_per_m2"]
    inside = None if air["outside_pct"] is None else 100.0 - air["outside_pct"]
    values = (
        (air["off_K_max"], f"{air['min_degC']} to {air['max_degC']} degC, p95 {air['off_K_p95']} K"),
        (inside, f"{air['left_out_pct']} % of cells and time behind a door that was open lately"),
        (block["settled_board_film_kg_per_m2_max"], f"after {block['settle_h']:g} h"),
        (doors["recovery_min_max"], f"{doors['judged']} doors, open {doors['open_s_mean']} s each"),
        (air["rh_pct"]["mean"], f"lowest {air['rh_pct']['min']} %"),
        (wetted["mean"], f"most {wetted['max']}, {new['count']} places, {_degC(new)}"),
        (turnover["in_t"] / turnover["days"] if turnover["days"] else None, "each place once a day"),
        (turnover["energy_kWh_per_t"], "heat, fan and door frames; what heats the mix is not in it"),
        (turnover["fog_kg_per_t"], ""),
    )
    return {
        target.name: Measured(value=value, note=note)
        for target, (value, note) in zip(TARGETS[:-1], values, strict=True)
    }


def _degC(new: dict[str, Any]) -> str:
    return "none" if new["degC"] is None else f"{new['degC'][0]} to {new['degC'][1]} degC at entry"


def _block(ran: Ran) -> dict[str, Any]:
    assert ran.standing is not None
    return standing.block(ran.standing, ran.plant.log.known(), ran.options.scene.dt_s, ran.hold)
