"""Bench rows of `gentle` away from the demo day: seasons, part loads, an empty bay, other wetting, other scan times.

What is asked is the same everywhere: boards stay dry, and no cell leaves the others or the ceiling in the hold. How
moist, how long and at what cost is reported beside it; a winter day may be shorter and dearer.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from controller.config.outlook import room
from controller.core.outlook.forecast import Case, forecast
from controller.report.summary import asked_band
from controller.rig import truth
from controller.rig.bench import truth as bench_truth
from controller.rig.bench.rows import Found, Measured, Target
from controller.rig.cycle import Options, Ran, run
from controller.rig.plant import Scene, scene
from controller.rig.whatif.apply import applied
from plantsim.truth import COLUMN

NAME = "variation"  # of every row, at its begin
SCAN_S = 2.0  # half the time of a run at 1 s; the rows of the scan times show that nothing hangs on it
HOURS_MAX = 40.0
SHORT, USUAL, LONG = 0.5, 1.0, 2.0
FILM, ABOVE, OFF, HOLD = "board film, most", "cell above the ceiling, most", "furthest cell from the mean", "hold"
SAME = "furthest from 1 s, in tolerances"
# What may change with the scan time. Much larger than what a run changes by another seed, much less than a must.
TOLERANCES: Mapping[str, float] = {
    HOLD: 0.5, OFF: 0.1, ABOVE: 0.1, "RH min": 0.5, "RH mean": 0.2,
    "heat and fan": 6.0, "fog water": 3.0, "ready": 0.25,
}  # fmt: skip


# The other rows of `gentle`: nothing is asked of them away from the demo day, but they are told.
_REST: Mapping[str, str] = {
    "max - min, largest": "K", "spread p95": "K", "mean in [floor, ceiling]": "% of hold",
    "envelope film, most": "kg/m2", "drying, mean": "kg/m2h", "equivalent age, (max - min) / mean": "%",
    "product spread p95": "K", "dew point outside its limits p95, measured": "K",
    "dew point outside its limits p95, truth": "K", "heating against venting": "% of heat",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Variation:
    """One case. outdoor_degC, outdoor_rh_pct constant; what_if: cases (NAME=AMOUNT) that change the chamber model."""

    name: str
    outdoor_degC: float = 8.0
    outdoor_rh_pct: float = 80.0
    mix_degC: float = 20.0
    load_t: float = 120.0
    what_if: tuple[str, ...] = ()
    scan_s: float = SCAN_S

    @property
    def head(self) -> str:
        """What the names of its rows begin with."""
        return f"{NAME} of gentle, {self.name}"


CASES = (
    Variation(name="-10/12 degC", outdoor_degC=-10.0, mix_degC=12.0),
    Variation(name="25/25 degC", outdoor_degC=25.0, outdoor_rh_pct=60.0, mix_degC=25.0),
    Variation(name="32/28 degC", outdoor_degC=32.0, outdoor_rh_pct=60.0, mix_degC=28.0),
    Variation(name="a third of the load", load_t=40.0),
    Variation(name="bay 3 empty", what_if=("bay-empty=3",)),
    Variation(name="wetted fraction 0.05", what_if=("wetted-fraction=0.05",)),
    Variation(name="wetted fraction 0.3", what_if=("wetted-fraction=0.3",)),
    Variation(name="scan 1 s", scan_s=USUAL),
    Variation(name="scan 0.5 s", scan_s=SHORT),
    Variation(name="scan 2 s", scan_s=LONG),
)
COMPARED = tuple(case for case in CASES if case.name.startswith("scan ") and case.scan_s != USUAL)
_ASKED = (
    Target(name=FILM, unit="kg/m2", must=0.005, dream=0.0),
    Target(name=ABOVE, unit="K", must=1.0, of_hold=True),
    Target(name=OFF, unit="K", must=1.0, of_hold=True),
    Target(name=HOLD, unit="h"),
)
TARGETS = (
    *(replace(target, name=f"{case.head}: {target.name}") for case in CASES for target in _ASKED),
    *(Target(name=f"{case.head}: {SAME}", must=1.0) for case in COMPARED),
)


def figures(out: Path, names: set[str], show: Callable[[float, str], None]) -> tuple[Found, dict[str, float]]:
    """(rows of the cases that some of `names` belongs to, hours of their holds by the head of their rows)."""
    wanted = needed(names)
    found: dict[str, Measured] = {}
    seen: dict[str, Mapping[str, float | None]] = {}
    for number, case in enumerate(wanted):
        begin = number / len(wanted)
        show(begin, case.head)
        values = of_case(case, out / f"variation-{number}")
        seen[case.name] = values
        found |= rows_of(case, values)
    if usual := seen.get("scan 1 s"):
        for case in COMPARED:
            if case.name in seen:
                found[f"{case.head}: {SAME}"] = compared(seen[case.name], usual)
    return found, {case.head: seen[case.name][HOLD] or 0.0 for case in wanted}


def needed(names: set[str]) -> list[Variation]:
    """Cases to run for these rows, in their order. A comparison needs the usual scan time too."""
    compare = any(f"{case.head}: {SAME}" in names for case in COMPARED)
    return [
        case
        for case in CASES
        if any(name.startswith(f"{case.head}: ") for name in names) or (compare and case.name == "scan 1 s")
    ]


def scene_of(case: Variation) -> Scene:
    """The simulated chamber of a case."""
    usual = scene(
        tonnes=case.load_t,
        mix_degC=case.mix_degC,
        outdoor=((case.outdoor_degC, case.outdoor_rh_pct),),
        dt_s=case.scan_s,
    )
    return applied(usual, case.what_if)


def of_case(case: Variation, out: Path) -> dict[str, float | None]:
    """Run a case over the direct link; its figures by name, in truth: K, %, h, kWh, kg. None = could not be taken."""
    out.mkdir(parents=True, exist_ok=True)
    start = datetime(2026, 3, 2, 16, 0, tzinfo=UTC)
    options = Options(scene=scene_of(case), link="direct", hours_max=HOURS_MAX, out=out, start=start)
    ran = run(options, lambda _fraction, _note: None)
    values = {
        name.removeprefix("gentle: "): measured.value for name, measured in bench_truth.figures("gentle", ran).items()
    }
    values[ABOVE] = _above_ceiling_K(ran)
    rows = ran.plant.log.known()
    values["ready"] = truth.ready_h(rows, case.scan_s, ran.bundle.chamber.product.ready_age_h)
    values["forecast"] = _forecast_h(case, ran)
    values["end"] = len(rows) * case.scan_s / 3600.0
    return values


def rows_of(case: Variation, values: Mapping[str, float | None]) -> Found:
    """The rows of a case; what is only reported stands in the note of its hold."""
    rows = {f"{case.head}: {name}": Measured(value=values[name]) for name in (FILM, ABOVE, OFF)}
    rows[f"{case.head}: {HOLD}"] = Measured(value=values[HOLD], note=_note(case, values))
    return rows


def compared(values: Mapping[str, float | None], usual: Mapping[str, float | None]) -> Measured:
    """How far figures are from those at 1 s: the largest difference in units of its tolerance, named in the note.

    A figure that only one of the two could take makes the whole unknown.
    """
    worst, worst_name = 0.0, ""
    for name, tolerance in TOLERANCES.items():
        one, other = values[name], usual[name]
        if one is None and other is None:
            continue
        if one is None or other is None:
            return Measured(value=None, note=f"{name} is known at one scan time only")
        if abs(one - other) / tolerance >= worst:
            worst, worst_name = abs(one - other) / tolerance, f"{name} {one:.4g}, at 1 s {other:.4g}"
    return Measured(value=round(worst, 3), note=worst_name)


def _note(case: Variation, values: Mapping[str, float | None]) -> str:
    rh_min, rh_mean, ready = (_said(values[name]) for name in ("RH min", "RH mean", "ready"))
    when = f"ready at {ready} h" if values["ready"] is not None else f"not ready in {_said(values['end'])} h"
    ahead = f"forecast {_said(values['forecast'])} h"
    cost = f"{_said(values['heat and fan'])} kWh, fog {_said(values['fog water'])} kg"
    rest = "; ".join(f"{name} {_digits(values[name])} {unit}".rstrip() for name, unit in _REST.items())
    return f"RH {rh_min} % min, {rh_mean} % mean; {when}, {ahead}; {cost}; {rest}; scan {case.scan_s:g} s"


def _said(value: float | None) -> str:
    return "unknown" if value is None else f"{value:.1f}"


def _digits(value: float | None) -> str:
    return "unknown" if value is None else f"{value:.3g}"


def _above_ceiling_K(ran: Ran) -> float | None:
    """Warmest cell in the hold less the ceiling that the recipe asks for; negative = below it."""
    held = ran.plant.log.known()[ran.hold[0] : ran.hold[1], COLUMN["air_max_degC"]]
    return None if len(held) == 0 else round(float(held.max()) - asked_band(ran.bundle.recipe).ceiling_degC, 3)


def _forecast_h(case: Variation, ran: Ran) -> float:
    """Hours to ready as the controller's own forecast says them at the start."""
    outdoor = ((case.outdoor_degC, case.outdoor_rh_pct),)
    charge, bundle = ran.options.scene.charge, ran.bundle
    ahead = Case(load_t=charge.tonnes, mix_degC=charge.mix_degC, outdoor=outdoor)
    return forecast(room(bundle.chamber, charge.empty_bays), bundle.recipe, bundle.mix, ahead).ready_h
