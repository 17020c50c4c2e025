"""Moisture near saturation in a ventilated roof, measured over a year and a half, against a one-zone vapour balance.

The balance is the chamber model's own: its saturation pressure, its moisture content, its law of exchange between
air and a wet surface with a film that can only give what it holds. Temperatures are the measured ones; what is
predicted is moisture. Four numbers of the roof are not known and are fitted to the first part of the series.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from scipy.optimize import least_squares

from plantsim.kernel.jit import python_of
from plantsim.kernel.moistair import humidity_ratio, psat
from plantsim.kernel.surfaces import vapour_to
from verification.measured import Pair, Validation, Vector, errors
from verification.series import column, common

NAME = "moisture of the air in a ventilated roof"
PA = 101_325.0
RATIO = 0.621945
FIT_HOURS = 4000
WETTEST = 95.0, 98.0
START = (1.0, 0.01, 1.0, 3.0)  # air changes an hour, share of them from indoors, exchange with wood 1/h, its capacity


def compared(data: Path) -> Validation:
    """Fit to the first FIT_HOURS, predict the rest. FileNotFoundError when a series is missing."""
    folder = data / "trh-1"
    times, (out_T, out_rh, air_T, air_rh, in_T, in_rh) = common(
        *[column(folder / name, part) for name in ("roofleft_outside.csv", "roofmiddle_airtop.csv", "indoor1.csv")
          for part in ("T", "RH")]
    )  # fmt: skip
    outside, indoors, measured = (
        moisture(T, rh) for T, rh in ((out_T, out_rh), (in_T, in_rh), (air_T, air_rh))
    )
    full = moisture(air_T, np.full_like(air_T, 100.0))
    early = slice(0, FIT_HOURS)

    def off(log_values: Vector) -> Vector:
        W = balance(np.exp(log_values), outside[early], indoors[early], full[early], measured[0])
        return (W - measured[early]) * 1e3

    found = least_squares(off, np.log(START), x_scale=0.5, max_nfev=60)
    W = balance(np.exp(found.x), outside, indoors, full, measured[0])
    late = slice(FIT_HOURS, None)
    rh, rh_measured, rh_outside = (100.0 * np.minimum(one / full, 1.0) for one in (W, measured, outside))
    pv, pv_measured = vapour_pressure(W), vapour_pressure(measured)
    measures = (
        errors("vapour pressure, fitted part", "Pa", pv[early], pv_measured[early], predicted=False),
        errors("vapour pressure, predicted part", "Pa", pv[late], pv_measured[late], predicted=True),
        errors("relative humidity, predicted part", "%RH", rh[late], rh_measured[late], predicted=True),
        errors("the same if the roof had no wood: outdoor vapour only", "%RH", rh_outside[late], rh_measured[late],
               predicted=True),
    )  # fmt: skip
    pairs = tuple(
        Pair(what=f"hours at {level:g} %RH and above, predicted part", unit="h",
             measured=float((rh_measured[late] >= level).sum()), model=float((rh[late] >= level).sum()))
        for level in WETTEST
    )  # fmt: skip
    changes, share, exchange, capacity = np.exp(found.x)
    return Validation(
        name=NAME, state="compared", measures=measures, pairs=pairs,
        verdict=f"Over {times.size - FIT_HOURS} hours that were not fitted, relative humidity is off by "
        f"{measures[2].rmse:.1f} %RH (root mean square), against {measures[3].rmse:.1f} %RH for outdoor vapour alone. "
        f"At {WETTEST[0]:g} %RH and above it is {pairs[0].model / max(pairs[0].measured, 1.0):.1f} times as many "
        "hours as measured: one zone sees no dry corner. A passive roof without fog or heat: it checks balance, "
        "saturation and films, not a chamber.",
        data="TRH-database, roof R3/YP2, hourly, November 2010 to July 2012",
        licence="CC BY 4.0, cite \"TRH-database\"; the series are not part of this project",
        method="hourly vapour balance of one zone with wood and a film; temperatures as measured",
        fitted=f"to the first {FIT_HOURS} h: {changes:.2f} air changes an hour, {100.0 * share:.1f} % of them from "
        f"indoors, exchange with wood {exchange:.2f} 1/h, wood holds {capacity:.1f} times the air's vapour",
    )  # fmt: skip


def balance(values: Vector, outside: Vector, indoors: Vector, full: Vector, first: float) -> Vector:
    """Moisture content of the zone's air, kg/kg, hour by hour.

    values: air changes 1/h, share from indoors, exchange with wood 1/h, capacity of wood over that of the air.
    outside, indoors, full: kg/kg, of what comes in and at saturation.
    """
    changes, share, exchange, capacity = (float(value) for value in values)
    reach = python_of(vapour_to)
    W, wood, film = first, min(first / float(full[0]), 1.0), 0.0
    found = np.empty_like(outside)
    out_part, wood_part = 1.0 - np.exp(-(changes + exchange)), 1.0 - np.exp(-exchange / capacity)
    for hour in range(outside.size):
        Ws = float(full[hour])
        comes = (1.0 - share) * float(outside[hour]) + share * float(indoors[hour])
        toward = (changes * comes + exchange * wood * Ws) / (changes + exchange)
        W += (toward - W) * out_part
        wood = min(wood + (min(W / Ws, 1.0) - wood) * wood_part, 1.0)
        moved = reach(1.0, W, Ws, film) if Ws < W else reach(1.0 - np.exp(-exchange), W, Ws, film)
        W, film = W - moved, film + moved
        found[hour] = W
    return found


def moisture(T_degC: Vector, rh_pct: Vector) -> Vector:
    """Moisture content, kg/kg, by the chamber model's functions."""
    return np.array([
        float(humidity_ratio(rh / 100.0 * psat(T), PA)) for T, rh in zip(T_degC.tolist(), rh_pct.tolist(), strict=True)
    ])  # fmt: skip


def vapour_pressure(W: Vector) -> Vector:
    """Pa."""
    return PA * W / (RATIO + W)
