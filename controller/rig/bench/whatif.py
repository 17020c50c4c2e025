"""Bench rows of `gentle` in every what-if case at its usual amount: what it costs, what it spoils, what was said of it.

Nothing is asked of the climate here: a case shows what a chamber that is not as its file says does to a cycle. Asked
is only that the books close and that no invariant of a scan is broken, whatever is the matter.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from controller.config.find import known
from controller.rig.bench.rows import Found, Measured, Row, Target
from controller.rig.cycle import Options, run
from controller.rig.plant import scene
from controller.rig.summary import summarise
from controller.rig.whatif.apply import applied

NAME = "whatif"  # of every row, at its begin
PLAIN = "as the plant file says"
SCAN_S = 2.0
HOURS_MAX = 40.0
OUTDOOR = ((8.0, 80.0),)
_FIGURES = (
    Target(name="air, mean", unit="degC"),
    Target(name="furthest cell from the mean", unit="K"),
    Target(name="spread p95", unit="K"),
    Target(name="RH min", unit="%"),
    Target(name="board film, most", unit="kg/m2"),
    Target(name="heat and fan", unit="kWh"),
    Target(name="fog water", unit="kg"),
    Target(name="hold", unit="h"),
    Target(name="ready, forecast", unit="h"),
    Target(name="ready", unit="h"),
    Target(name="books closure", must=1e-9),
    Target(name="invariants broken", must=0.0),
)
SAID = "ready"  # the row whose note says what the controller said


def cases() -> tuple[str, ...]:
    """Every shipped case, and the chamber without any for comparison."""
    return (PLAIN, *known("whatif"))


def head(case: str) -> str:
    """What the names of a case's rows begin with."""
    return f"{NAME} of gentle, {case}"


def targets() -> tuple[Target, ...]:
    """The rows in the order of the table."""
    return tuple(replace(one, name=f"{head(case)}: {one.name}") for case in cases() for one in _FIGURES)


def figures(out: Path, names: set[str], show: Callable[[float, str], None]) -> Found:
    """Rows of the cases that some of `names` belongs to."""
    wanted = [case for case in cases() if any(name.startswith(f"{head(case)}: ") for name in names)]
    found: dict[str, Measured] = {}
    for number, case in enumerate(wanted):
        show(number / len(wanted), head(case))
        summary = of_case(case, out / f"whatif-{number}")
        found |= rows_of(case, summary)
    return found


def of_case(case: str, out: Path) -> Mapping[str, Any]:
    """The summary of a cycle over the direct link, with a case (NAME or NAME=AMOUNT) or PLAIN."""
    out.mkdir(parents=True, exist_ok=True)
    chamber = applied(scene(outdoor=OUTDOOR, dt_s=SCAN_S), [] if case == PLAIN else [case])
    start = datetime(2026, 3, 2, 16, 0, tzinfo=UTC)
    options = Options(scene=chamber, link="direct", hours_max=HOURS_MAX, out=out, start=start)
    return summarise(run(options, lambda _fraction, _note: None))


def rows_of(case: str, summary: Mapping[str, Any]) -> Found:
    """The rows of a case from its summary."""
    hold, truth, ready = summary["truth"]["hold"], summary["truth"], summary["ready_h"]
    temperature = hold["temperature_degC"]
    values: dict[str, float | None] = {
        "air, mean": temperature["mean"],
        "furthest cell from the mean": temperature["off_mean_max"],
        "spread p95": temperature["spread_p95"],
        "RH min": hold["rh_pct"]["min"],
        "board film, most": truth["board_film_kg_per_m2_max"],
        "heat and fan": summary["energy_kWh"]["heat"] + summary["energy_kWh"]["fan"],
        "fog water": summary["water_kg"]["fog"],
        "hold": hold["hours"],
        "ready, forecast": ready["forecast"],
        "ready": ready["actual"],
        "books closure": max(summary["closure"].values()),
        "invariants broken": float(summary["invariants_broken"]),
    }
    notes = {SAID: said(summary), "air, mean": "; ".join(one["said"] for one in summary.get("what_if", []))}
    return {
        f"{head(case)}: {name}": Measured(value=value, note=notes.get(name, "")) for name, value in values.items()
    }


def said(summary: Mapping[str, Any]) -> str:
    """What the controller said: verdict with reasons (trips among them), each alarm once with how often it came."""
    parts = [summary["verdict"] + (f" ({'; '.join(summary['reasons'])})" if summary["reasons"] else "")]
    came: dict[str, list[float]] = {}
    for alarm in summary["alarms"]:
        came.setdefault(alarm["text"].split(":")[0], []).append(alarm["from_s"] / 3600.0)
    parts += [
        f"{text} ({hours[0]:.1f} h{f', {len(hours)} times' if len(hours) > 1 else ''})" for text, hours in came.items()
    ]
    return "; ".join(parts)


_SHOWN = (
    ("air degC", "air, mean", "{:.1f}"), ("furthest K", "furthest cell from the mean", "{:.2f}"),
    ("p95 K", "spread p95", "{:.2f}"), ("RH min %", "RH min", "{:.1f}"), ("board kg/m2", "board film, most", "{:.4f}"),
    ("kWh", "heat and fan", "{:.0f}"), ("fog kg", "fog water", "{:.0f}"), ("hold h", "hold", "{:.1f}"),
    ("forecast h", "ready, forecast", "{:.1f}"), ("ready h", "ready", "{:.1f}"),
)  # fmt: skip


def table(rows: Iterable[Row]) -> str:
    """The rows as text: a line a case with its figures, below it how much it is and what the controller said."""
    by_case: dict[str, dict[str, Row]] = {}
    for row in rows:
        case, _, name = row.name.partition(": ")
        by_case.setdefault(case.removeprefix(f"{NAME} of gentle, "), {})[name] = row
    width = max(map(len, by_case), default=0)
    lines = ["  ".join([f"{'gentle, 8 degC / 80 %RH':<{width}}", *(f"{title:>7}" for title, _, _ in _SHOWN)])]
    for case, found in by_case.items():
        cells = [f"{_cell(found.get(name), form):>{max(7, len(title))}}" for title, name, form in _SHOWN]
        lines.append("  ".join([f"{case:<{width}}", *cells]))
        notes = [("", found["air, mean"].note if "air, mean" in found else "")]
        notes += [("said: ", found[SAID].note if SAID in found else "")]
        lines += [f"    {label}{note}" for label, note in notes if note]
        lines += [f"    MISSED: {row.name.partition(': ')[2]} {row.value}" for row in found.values() if not row.holds]
    return "\n".join(lines)


def _cell(row: Row | None, form: str) -> str:
    return "" if row is None else "-" if row.value is None else form.format(row.value)
