"""What the bench reads from a whole simulated cycle: how well it was held, in truth and as measured."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from controller.core.climate.moistair import saturation_pressure_Pa
from controller.report import kpis
from controller.report.summary import asked_band
from controller.rig import truth
from controller.rig.bench.rows import Found, Measured, Target
from controller.rig.cycle import Ran
from controller.store.reader import Reader
from plantsim.truth import COLUMN

Series = NDArray[np.float64]
_HOLD = (
    Target(name="hold in 24 h", unit="h", must=6.0, dream=12.0, at_least=True, of_hold=True),
    Target(name="furthest cell from the mean", unit="K", must=1.0, of_hold=True),
    Target(name="max - min, largest", unit="K", must=2.0, of_hold=True),
    Target(name="spread p95", unit="K", must=0.6, dream=0.3, of_hold=True),
)
_SURFACES = (
    Target(name="board film, most", unit="kg/m2", must=0.005, dream=0.0),
    Target(name="envelope film, most", unit="kg/m2", must=0.01, dream=0.0),
    Target(name="drying, mean", unit="kg/m2h", must=0.02, dream=0.01),
    Target(name="equivalent age, (max - min) / mean", unit="%", must=5.0, dream=2.0),
    Target(name="product spread p95", unit="K", must=1.5, dream=0.7),
)
_DEW = (
    Target(name="dew point outside its limits p95, measured", unit="K", must=0.15, dream=0.08, of_hold=True),
    Target(name="dew point outside its limits p95, truth", unit="K", must=0.3, dream=0.2, of_hold=True),
)
_BY_RECIPE = {
    "gentle": (
        *_HOLD,
        Target(name="mean in [floor, ceiling]", unit="% of hold", must=100.0, at_least=True, of_hold=True),
        Target(name="RH min", unit="%", must=94.0, dream=95.0, at_least=True, of_hold=True),
        Target(name="RH mean", unit="%", must=95.0, at_least=True, of_hold=True),
        *_SURFACES,
        *_DEW,
        Target(name="heat and fan", unit="kWh", must=260.0, dream=150.0),
        Target(name="fog water", unit="kg", must=60.0, dream=35.0),
        Target(name="heating against venting", unit="% of heat", must=15.0, dream=3.0),
    ),
    "steady": (
        Target(name="hold", unit="h", must=4.0, at_least=True, of_hold=True),
        Target(name="furthest cell from 32 degC", unit="K", must=1.0, dream=0.5, of_hold=True),
        Target(name="spread p95", unit="K", of_hold=True),
        Target(name="RH below what dry surfaces allow, p95", unit="%", must=1.0, of_hold=True),
        Target(name="RH min", unit="%", of_hold=True),
        Target(name="RH mean", unit="%", of_hold=True),
        *_SURFACES,
        *_DEW,
        Target(name="heat and fan", unit="kWh"),
        Target(name="fog water", unit="kg"),
        Target(name="heating against venting", unit="% of heat"),
    ),
}
RECIPES = tuple(_BY_RECIPE)


def targets(recipe: str) -> tuple[Target, ...]:
    """The rows of a recipe; their names begin with its name."""
    return tuple(_named(recipe, target) for target in _BY_RECIPE[recipe])


def _named(recipe: str, target: Target) -> Target:
    return Target(
        name=f"{recipe}: {target.name}", unit=target.unit, must=target.must, dream=target.dream,
        at_least=target.at_least, of_hold=target.of_hold,
    )  # fmt: skip


def hold_h(ran: Ran) -> float:
    """Length of the hold."""
    return (ran.hold[1] - ran.hold[0]) * ran.options.scene.dt_s / 3600.0


def figures(recipe: str, ran: Ran) -> Found:
    """Every row of `targets(recipe)` from a run."""
    rows, dt_s = ran.plant.log.known(), ran.options.scene.dt_s
    band, room = asked_band(ran.bundle.recipe), ran.plant.params.room
    block = truth.block(rows, dt_s, ran.hold, band, room)
    found = {**_of_block(block), **_of_cost(truth.used(rows, dt_s)), **_of_mean(rows, ran.hold, band)}
    found |= _of_dew_point(ran, rows)
    found["hold in 24 h"] = found["hold"] = hold_h(ran)
    return {f"{recipe}: {name}": Measured(value=value) for name, value in found.items()}


def _of_block(block: Mapping[str, Any]) -> dict[str, float | None]:
    hold, product = block["hold"], block["product"]
    age = product["equivalent_age_h"]
    return {
        "furthest cell from the mean": hold["temperature_degC"]["off_mean_max"],
        "max - min, largest": hold["temperature_degC"]["spread_max"],
        "spread p95": hold["temperature_degC"]["spread_p95"],
        "RH min": hold["rh_pct"]["min"],
        "RH mean": hold["rh_pct"]["mean"],
        "board film, most": block["board_film_kg_per_m2_max"],
        "envelope film, most": block["envelope_film_kg_per_m2_max"],
        "drying, mean": block["drying_kg_per_m2h"]["mean"],
        "equivalent age, (max - min) / mean": 100.0 * (age["max"] - age["min"]) / age["mean"] if age["mean"] else None,
        "product spread p95": product["spread_K_p95"],
    }


def _of_cost(used: Mapping[str, Mapping[str, float]]) -> dict[str, float | None]:
    energy = used["energy_kWh"]
    heat = energy["heat"]
    return {
        "heat and fan": heat + energy["fan"],
        "fog water": used["water_kg"]["fog"],
        "heating against venting": 100.0 * used["fighting"]["kWh"] / heat if heat > 0.0 else 0.0,
    }


def _of_mean(rows: Series, hold: tuple[int, int], band: kpis.Band) -> dict[str, float | None]:
    part = rows[hold[0] : hold[1]]
    if len(part) == 0:
        return {"mean in [floor, ceiling]": None, "furthest cell from 32 degC": None}
    mean = part[:, COLUMN["air_mean_degC"]]
    inside = (mean >= band.floor_degC) & (mean <= band.ceiling_degC)
    high = part[:, COLUMN["air_max_degC"]].max() - 32.0
    low = 32.0 - part[:, COLUMN["air_min_degC"]].min()
    return {
        "mean in [floor, ceiling]": float(100.0 * inside.mean()),
        "furthest cell from 32 degC": float(max(high, low)),
    }


def _of_dew_point(ran: Ran, rows: Series) -> dict[str, float | None]:
    """Against the limits that the controller set, minute by minute of the hold: dew point as measured, and in truth."""
    dt_s = ran.options.scene.dt_s
    begin, end = (ran.start_ms + round(1000.0 * dt_s * scan) for scan in ran.hold)
    with Reader(ran.options.out / "record.sqlite") as reader:
        columns = {tag: reader.minutes(tag, begin, end) for tag in ("MY-101", "MIC-101F", "MIC-101V", "TY-101")}
    measured, true, below = [], [], []
    dew_point = rows[:, COLUMN["dew_point_mean_degC"]]
    for dew, low, high, air in zip(*columns.values(), strict=True):
        if math.isnan(dew.mean + low.mean + high.mean + air.mean):
            continue
        first = round((dew.utc_ms - ran.start_ms) / 1000.0 / dt_s)
        real = float(dew_point[first : first + round(60.0 / dt_s)].mean())
        measured.append(max(low.mean - dew.mean, dew.mean - high.mean, 0.0))
        true.append(max(low.mean - real, real - high.mean, 0.0))
        allowed, held = (saturation_pressure_Pa(t) for t in (high.mean, dew.mean))
        below.append(max(0.0, 100.0 * (allowed - held) / saturation_pressure_Pa(air.mean)))
    return {
        "dew point outside its limits p95, measured": kpis.percentile(measured, 95.0),
        "dew point outside its limits p95, truth": kpis.percentile(true, 95.0),
        "RH below what dry surfaces allow, p95": kpis.percentile(below, 95.0),
    }
