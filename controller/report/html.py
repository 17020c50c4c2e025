"""The report as one page: HTML that needs nothing else, no network and no script.

Needs jinja2 and matplotlib; both are imported only when a report is made.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

import jinja2

from controller import __version__
from controller.config.find import SHIPPED
from controller.config.rules import verdict_rules
from controller.core.sequence.phase_kinds import EMPTY
from controller.report import marks, surface, table
from controller.report.charge_table import charged
from controller.report.happened import Spell, happened
from controller.report.phases import PhaseRow, phases_of
from controller.report.plots import plots
from controller.report.proof import proof
from controller.report.recorded import Recorded, opened
from controller.report.summary import Summary

ROWS_MAX = 300  # of each list; the record has them all
_HERE = Path(__file__).parent
_MARKS = {marks.GOOD: "holds", marks.BAD: "does not hold", marks.PLAIN: ""}


def write_report(record: Path, out: Path, cycle: int | None = None) -> dict[str, Any]:
    """Make the report of a cycle (the newest without a number) and put it in place of an older one.

    Returns what a script wants to know of it. Raises StoreError for the record and OSError for the page.
    """
    with opened(record, cycle) as recorded:
        found = facts(recorded)
    text = page(found)
    fresh = out.with_name(f".{out.name}.{os.getpid()}")
    try:
        fresh.write_text(text, encoding="utf-8")
        fresh.replace(out)
    finally:
        fresh.unlink(missing_ok=True)
    return {
        "report": str(out),
        "bytes": len(text.encode()),
        "record": str(record),
        "cycle": found["cycle"],
        "verdict": found["summary"]["verdict"],
        "over": found["sealed"],
        "changed": found["proof"].problems,
    }


def page(found: Mapping[str, Any]) -> str:
    """The page with these facts in it; every text is escaped."""
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(_HERE),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(signs=_signs, h=_hours, n=marks.text, hm=_clock)
    return environment.get_template("page.html").render(found, css=(_HERE / "page.css").read_text(encoding="utf-8"))


def facts(recorded: Recorded) -> dict[str, Any]:
    """Everything the page says, as data."""
    summary = recorded.summary
    phases, what = phases_of(recorded), happened(recorded)
    return {
        "summary": summary,
        "cycle": recorded.number,
        "cycles": recorded.cycles,
        "sealed": recorded.sealed,
        "simulated": bool(recorded.header.facts.get("simulated")),
        "what_ifs": what_ifs(recorded),
        "head": _head(recorded),
        "mark": {"pass": "●", "deviation": "▲", "fail": "■"}.get(summary["verdict"], "?"),
        "rows": _rows(summary),
        "source": table.source(summary),
        "rules": _rules(),
        "phases": [_phase(phase, recorded) for phase in phases],
        "what": what,
        "charged": charged(recorded),
        "by_hand": [
            Spell(one["from_s"] / 3600.0, one["to_s"] / 3600.0, one["text"]) for one in summary.get("by_hand", [])
        ],
        "states": what.states[:ROWS_MAX],
        "surfaces": surface.shares(surface.limiting(recorded)),
        "plots": plots(recorded, phases, what),
        "began_ms": recorded.span.began,
        "files": _files(recorded),
        "proof": proof(recorded.path, recorded.number),
        "record_name": recorded.path.name,
        "rows_max": ROWS_MAX,
    }


def what_ifs(recorded: Recorded) -> list[dict[str, Any]]:
    """In what the simulated chamber was other than its file says, from the summary, or where there is none yet from
    the head of the record, which knows the names only."""
    found: list[dict[str, Any]] = list(recorded.summary.get("what_if", []))
    named = recorded.header.facts.get("what_if")
    if named and not found:
        found = [{"name": str(named), "text": "", "said": "", "changes": []}]
    return found


def _rows(summary: Summary) -> list[tuple[str, ...]]:
    """The rows of the table in the signs of a page, with the forecast of the ready time beside the actual one."""
    rows = [(*row[:3], _MARKS[row[3]]) for row in table.rows(summary)]
    ahead = summary["ready_h"]
    if ahead["forecast"] is not None:
        low, high = ahead.get("forecast_low"), ahead.get("forecast_high")
        between = "" if low is None or high is None else f" ({low:.1f} to {high:.1f} h)"
        at = next((index for index, row in enumerate(rows) if row[0].startswith("ready")), len(rows))
        rows.insert(at, ("ready, forecast at the start", "", f"{ahead['forecast']:.1f} h after start{between}", ""))
    return [tuple(_signs("-" if text.startswith("- ") else text) for text in row) for row in rows]


def _signs(text: str) -> str:
    """Units as they are printed; a terminal gets them in plain letters."""
    return text.replace("degC", "°C").replace("m2", "m²")


def _head(recorded: Recorded) -> list[tuple[str, str]]:
    summary, header = recorded.summary, recorded.header
    version = f", version {recorded.recipe.value.version}" if recorded.recipe else ""
    load = f"{summary['load_t']:g} t, mixed at {summary['mix_degC']:g} °C"
    empty = header.facts.get("empty_bays")
    simulated = "simulated chamber" if header.facts.get("simulated") else "real chamber"
    simulated += ", not as its file says: a what-if" if what_ifs(recorded) else ""
    seed = f", seed {summary['seed']}" if summary["seed"] is not None else ""
    over = "end" if recorded.sealed else "so far to"
    return [
        ("chamber", f"{summary['chamber']} ({simulated}{seed})"),
        ("recipe", f"{summary['recipe']}{version}, SHA-256 {summary['recipe_sha256'][:16]}…"),
        ("mix", str(summary["mix"])),
        ("load", load + (f", bays {empty} empty" if empty else "")),
        ("start", _both(recorded.span.began)),
        (over, _both(recorded.span.ended)),
        ("length", f"{recorded.hours(recorded.span.ended):.1f} h, a scan every {summary['scan_s']:g} s"),
        ("software", f"Dewhold {summary['version']}; page made by {__version__}"),
    ]


def _both(utc_ms: int) -> str:
    """UTC and the local time of this computer."""
    at = datetime.fromtimestamp(utc_ms / 1000.0, UTC)
    local = at.astimezone()
    offset = f"{local:%z}"
    there = f"{local:%H:%M}" if local.date() == at.date() else f"{local:%Y-%m-%d %H:%M}"
    return f"{at:%Y-%m-%d %H:%M:%S} UTC (local {there}, UTC{offset[:3]}:{offset[3:]})"


def _phase(phase: PhaseRow, recorded: Recorded) -> tuple[PhaseRow, str]:
    """A phase with its planned duration in words."""
    planned = phase.planned
    if planned is None:
        return phase, "-"
    if planned.hours is None:
        recipe = recorded.recipe.value.phases if recorded.recipe else ()
        by_person = phase.number <= len(recipe) and recipe[phase.number - 1].end.by_operator
        return phase, "by a person" if by_person else "when it is dry" if phase.kind in EMPTY else "by the product"
    return phase, f"{'≥ ' if planned.at_least else ''}{planned.hours:.1f} h"


def _rules() -> dict[str, Any]:
    """The rules of the verdict as they are now."""
    rules = verdict_rules()
    return {
        "sha256": sha256((SHIPPED / "verdict.toml").read_bytes()).hexdigest(),
        "fail": [
            "a trip" if rules.fail_on_trip else "",
            "a broken invariant" if rules.fail_on_broken_invariant else "",
            f"a board with more than {rules.board_film_kg_per_m2_max:g} kg/m² of water",
            f"a product core above {rules.core_degC_max:g} °C",
        ],
        "deviation": [
            "a recipe not run to its end",
            f"a hold shorter than {rules.hold_hours_min:g} h",
            f"less than {rules.in_band_pct_min:g} % of the hold in band",
            f"where only probes tell, a dew margin below {rules.dew_margin_K_min:g} K in the hold",
            f"mean drying above {rules.drying_kg_per_m2h_max:g} kg/m²h",
            f"of a standing climate above {rules.standing_drying_kg_per_m2h_max:g} kg/m²h",
            f"ready more than {rules.ready_late_h_max:g} h later than forecast",
            f"settled air of a standing climate more than {rules.settled_off_K_max:g} K off",
            f"a bay of it that took more than {rules.door_recovery_min_max:g} min to recover from its door",
            "an outage" if rules.deviation_on_outage else "",
            "a row bypassed, a point forced or simulated, a loop in manual, a lock-out"
            if rules.deviation_on_bypass
            else "",
            "a drive in hand" if rules.deviation_on_drive_in_hand else "",
        ],
    }


def _files(recorded: Recorded) -> list[tuple[str, str]]:
    return [(kind, sha256(text.encode()).hexdigest()) for kind, text in recorded.header.texts.items()]


def _hours(value: float) -> str:
    """Hours after the start as h:mm."""
    minutes = round(60.0 * value)
    return f"{'-' if minutes < 0 else ''}{abs(minutes) // 60}:{abs(minutes) % 60:02d}"


def _clock(value: float, began_ms: int) -> str:
    """Local time at so many hours after the start."""
    return f"{datetime.fromtimestamp(began_ms / 1000.0 + 3600.0 * value, UTC).astimezone():%a %H:%M}"
