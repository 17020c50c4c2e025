"""The report: everything as plain JSON, and from that one self-contained page for screen and print."""

from __future__ import annotations

import platform
from collections.abc import Sequence
from dataclasses import asdict
from importlib.metadata import version
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from verification.measured import Validation
from verification.results import Caught, Result
from verification.trade import Fact

HERE = Path(__file__).parent
LIBRARIES = ("numpy", "numba", "scipy", "CoolProp", "psychrolib")


def as_json(results: Sequence[Result], facts: Sequence[Fact], validations: Sequence[Validation]) -> dict[str, Any]:
    """All that was found, as JSON keeps it; plots are left out."""
    caught = [one for result in results for one in result.caught]
    told = [{key: value for key, value in asdict(one).items() if key != "plots"} for one in validations]
    return {
        "dewhold": version("dewhold"),
        "python": platform.python_version(),
        "libraries": {name: version(name) for name in LIBRARIES},
        "summary": {
            "checks": len(results),
            "hold": sum(result.holds for result in results),
            "figures": sum(len(result.figures) for result in results),
            "planted": len(caught),
            "caught": sum(one.caught for one in caught),
            "cpu_s": round(sum(result.cpu_s for result in results), 1),
        },
        "verification": [_check(result) for result in results],
        "validation": told,
        "trade_facts": [asdict(fact) for fact in facts],
    }


def _check(result: Result) -> dict[str, Any]:
    check = result.check
    return {
        "name": check.name,
        "subject": check.subject,
        "proves": check.proves,
        "formula": check.formula,
        "source": check.source,
        "verdict": "holds" if result.holds else "fails",
        "figures": [_figure(figure) for figure in result.figures],
        "planted_errors": [_planted(one) for one in result.caught],
        "cpu_s": round(result.cpu_s, 2),
    }


def _planted(one: Caught) -> dict[str, Any]:
    return {"what": one.plant.what, "caught": one.caught, "by": _figure(one.worst)}


def _figure(figure: Any) -> dict[str, Any]:
    return {
        "what": figure.what,
        "unit": figure.unit,
        "expected": figure.expected,
        "got": float(figure.got),
        "error": float(figure.error),
        "tolerance": figure.tolerance,
        "relative": figure.relative,
        "holds": figure.holds,
    }


def as_page(told: dict[str, Any], validations: Sequence[Validation]) -> str:
    """The page. told: of as_json."""
    environment = Environment(
        loader=FileSystemLoader(HERE), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["figure"] = figure
    subjects = list(dict.fromkeys(check["subject"] for check in told["verification"]))
    css = (HERE / "page.css").read_text(encoding="utf-8")
    plots = {one.name: one.plots for one in validations}
    return environment.get_template("page.html").render(css=css, subjects=subjects, plots=plots, **told)


def figure(value: float) -> str:
    """A number as people read it: seven digits for what is compared, none lost to rounding in the report's JSON."""
    return f"{value:.7g}".replace("-", "\N{MINUS SIGN}", 1) if value < 0.0 else f"{value:.7g}"
