"""The report as one page: HTML that needs nothing else, no network and no script.

Needs jinja2 and matplotlib; both are imported only when a report is made.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from functools import partial
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
from controller.report.spoken import element, named, reason, spoken
from controller.report.summary import Summary
from controller.report.words import Words, words_of

ROWS_MAX = 300  # of each list; the record has them all
_HERE = Path(__file__).parent


def write_report(record: Path, out: Path, cycle: int | None = None, language: str = "en") -> dict[str, Any]:
    """Make the report of a cycle (the newest without a number) in a language and put it in place of an older one.

    Returns what a script wants to know of it. Raises StoreError for the record and OSError for the page.
    """
    with opened(record, cycle) as recorded:
        found = facts(recorded, language)
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
    words: Words = found["words"]
    environment.filters.update(
        signs=_signs, h=_hours, n=words.number, clock=words.clock, said=partial(spoken, words),
        reason=partial(reason, words), named=partial(named, words),
        kind=lambda kind: words.shared(f"phase.{kind}", kind),
    )  # fmt: skip
    sheets = ("page.css",) if words.language == "en" else ("page.css", "longer.css")
    css = "".join((_HERE / name).read_text(encoding="utf-8") for name in sheets)
    return environment.get_template("page.html").render(
        found, css=css, t=partial(element, words), plain=words, language=words.language
    )


def facts(recorded: Recorded, language: str = "en") -> dict[str, Any]:
    """Everything the page says, as data, in the words of a language."""
    summary, words = recorded.summary, words_of(language)
    phases, what, stretches = phases_of(recorded, words), happened(recorded, words), surface.limiting(recorded)
    return {
        "words": words,
        "summary": summary,
        "cycle": recorded.number,
        "cycles": recorded.cycles,
        "sealed": recorded.sealed,
        "simulated": bool(recorded.header.facts.get("simulated")),
        "what_ifs": what_ifs(recorded),
        "head": _head(recorded, words),
        "mark": {"pass": "●", "deviation": "▲", "fail": "■"}.get(summary["verdict"], "?"),
        "verdict": words(f"verdict.{summary['verdict']}"),
        "rows": _rows(summary, words),
        "source": table.source(summary, words),
        "rules": _rules(words),
        "phases": [(phase, _planned(phase, recorded, words)) for phase in phases],
        "what": what,
        "charged": charged(recorded),
        "by_hand": [
            Spell(one["from_s"] / 3600.0, one["to_s"] / 3600.0, spoken(words, one["text"]))
            for one in summary.get("by_hand", [])
        ],
        "states": what.states[:ROWS_MAX],
        "surfaces": surface.shares(stretches),
        "plots": plots(recorded, phases, what, stretches, words),
        "began_ms": recorded.span.began,
        "files": _files(recorded, words),
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


def _rows(summary: Summary, words: Words) -> list[tuple[str, ...]]:
    """The rows of the table in the signs of a page, with the forecast of the ready time beside the actual one."""
    rows = list(table.rows(summary, words))
    ahead = summary["ready_h"]
    if ahead["forecast"] is not None:
        low, high = ahead.get("forecast_low"), ahead.get("forecast_high")
        hours = ahead["forecast"]
        said = words("was.ready", hours=hours) if low is None or high is None else words(
            "was.forecast", hours=hours, low=low, high=high
        )
        at = next((index for index, row in enumerate(rows) if row[0] == words("row.ready")), len(rows))
        rows.insert(at, (words("row.forecast"), "", said, marks.PLAIN))
    return [tuple(_signs("-" if text.startswith("- ") else text) for text in row) for row in rows]


def _signs(text: str) -> str:
    """Units as they are printed; a terminal gets them in plain letters."""
    return text.replace("degC", "°C").replace("m2", "m²")


def _head(recorded: Recorded, words: Words) -> list[tuple[str, str]]:
    summary, header, t = recorded.summary, recorded.header, words
    version = t("head.version", version=recorded.recipe.value.version) if recorded.recipe else ""
    bays = header.facts.get("empty_bays")
    kind = t("head.simulated" if header.facts.get("simulated") else "head.real")
    kind += t("head.what_if") if what_ifs(recorded) else ""
    seed = t("head.seed", seed=summary["seed"]) if summary["seed"] is not None else ""
    recipe = t("head.recipe_is", recipe=summary["recipe"], version=version, sha256=summary["recipe_sha256"][:16])
    load = t("head.load_is", tonnes=summary["load_t"], degC=summary["mix_degC"],
             empty=t("head.empty", bays=bays) if bays else "")  # fmt: skip
    hours = recorded.hours(recorded.span.ended)
    return [
        (t("head.chamber"), t("head.chamber_is", chamber=summary["chamber"], kind=kind, seed=seed)),
        (t("head.recipe"), recipe),
        (t("head.mix"), str(summary["mix"])),
        (t("head.load"), load),
        (t("head.start"), t.moment(recorded.span.began)),
        (t("head.end" if recorded.sealed else "head.so_far"), t.moment(recorded.span.ended)),
        (t("head.length"), t("head.length_is", hours=hours, scan_s=summary["scan_s"])),
        (t("head.software"), t("head.software_is", version=summary["version"], maker=__version__)),
    ]


def _planned(phase: PhaseRow, recorded: Recorded, words: Words) -> str:
    """The planned duration of a phase in words."""
    planned = phase.planned
    if planned is None:
        return "-"
    if planned.hours is None:
        recipe = recorded.recipe.value.phases if recorded.recipe else ()
        by_person = phase.number <= len(recipe) and recipe[phase.number - 1].end.by_operator
        dry = "when_dry" if phase.kind in EMPTY else "by_product"
        return words(f"phases.{'by_person' if by_person else dry}")
    return words("phases.at_least" if planned.at_least else "phases.hours", hours=planned.hours)


def _rules(words: Words) -> dict[str, Any]:
    """The rules of the verdict as they are now."""
    rules, t = verdict_rules(), words
    return {
        "sha256": sha256((SHIPPED / "verdict.toml").read_bytes()).hexdigest(),
        "fail": [
            t("rules.trip") if rules.fail_on_trip else "",
            t("rules.invariant") if rules.fail_on_broken_invariant else "",
            t("rules.film", most=rules.board_film_kg_per_m2_max),
            t("rules.core", most=rules.core_degC_max),
        ],
        "deviation": [
            t("rules.not_finished"),
            t("rules.hold", least=rules.hold_hours_min),
            t("rules.in_band", least=rules.in_band_pct_min),
            t("rules.margin", least=rules.dew_margin_K_min),
            t("rules.drying", most=rules.drying_kg_per_m2h_max),
            t("rules.standing_drying", most=rules.standing_drying_kg_per_m2h_max),
            t("rules.late", most=rules.ready_late_h_max),
            t("rules.settled", most=rules.settled_off_K_max),
            t("rules.recovery", most=rules.door_recovery_min_max),
            t("rules.outage") if rules.deviation_on_outage else "",
            t("rules.by_hand") if rules.deviation_on_bypass else "",
            t("rules.in_hand") if rules.deviation_on_drive_in_hand else "",
        ],
    }


def _files(recorded: Recorded, words: Words) -> list[tuple[str, str]]:
    """Each file of the record as it is called, with its hash."""
    found = []
    for kind, text in recorded.header.texts.items():
        what, space, name = kind.partition(" ")
        found.append((words.known(f"file.{what}", what) + space + name, sha256(text.encode()).hexdigest()))
    return found


def _hours(value: float) -> str:
    """Hours after the start as h:mm."""
    minutes = round(60.0 * value)
    return f"{'-' if minutes < 0 else ''}{abs(minutes) // 60}:{abs(minutes) % 60:02d}"
