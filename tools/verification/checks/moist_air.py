"""Saturation and states of moist air against libraries that have them, and what the flash makes of too much water."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import exp
from typing import Any

import psychrolib
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI

from plantsim.kernel import moistair as air
from verification.check import Check, Effort, Figure, Plant, instead, times
from verification.rooms import PA, moisture

psychrolib.SetUnitSystem(psychrolib.SI)
LIQUID = 4186.0  # J/kgK
STATES = ((32.0, 98.0), (40.0, 95.0), (35.0, 95.0), (28.0, 92.0), (20.0, 60.0), (10.0, 90.0), (5.0, 80.0), (45.0, 70.0))
DRY_STATES = ((40.0, 20.0), (35.0, 50.0), (30.0, 30.0), (60.0, 10.0), (32.0, 90.0))


def magnus(t_degC: float) -> float:
    """The WMO's simpler curve, Pa: 0.3 % low at 27 degC."""
    return 611.2 * exp(17.62 * t_degC / (243.12 + t_degC))


def saturation(_: Effort) -> Sequence[Figure]:
    """Pressure, its slope and its inverse."""
    degC = [float(t) for t in range(1, 91)]
    by_library = [PropsSI("P", "T", t + 273.15, "Q", 0, "IF97::Water") for t in degC]
    by_ashrae = [psychrolib.GetSatVapPres(t) for t in degC]
    slopes = [air.psat_and_slope(t)[1] / ((air.psat(t + 5e-4) - air.psat(t - 5e-4)) / 1e-3) - 1.0 for t in degC]
    worst = furthest(air.psat(t) / p - 1.0 for t, p in zip(degC, by_library, strict=True))
    ashrae = furthest(air.psat(t) / p - 1.0 for t, p in zip(degC, by_ashrae, strict=True))
    return (
        Figure(what="at 300 K", expected=3536.58941, got=air.psat(26.85), tolerance=5e-6, unit="Pa"),
        Figure(what="1..90 degC, furthest from CoolProp IF97", expected=0.0, got=worst, tolerance=1e-9),
        Figure(what="1..90 degC, furthest from psychrolib", expected=0.0, got=ashrae, tolerance=2e-4),
        Figure(what="slope, furthest from differences", expected=0.0, got=furthest(slopes), tolerance=1e-6),
        Figure(what="boiling at 0.1 MPa", expected=99.605919, got=air.tsat(1e5), tolerance=5e-6, unit="degC"),
    )


def furthest(errors: Any) -> float:
    """The one of largest size."""
    return float(max(errors, key=abs))


def states(_: Effort) -> Sequence[Figure]:
    """Moisture content, enthalpy and dew point of eight states."""
    W = {s: moisture(*s) for s in STATES}
    ashrae = [(psychrolib.GetHumRatioFromRelHum(t, rh / 100.0, PA), t, rh) for t, rh in STATES]
    real = {
        s: [HAPropsSI(out, "T", s[0] + 273.15, "R", s[1] / 100, "P", PA) for out in ("W", "H", "D")] for s in STATES
    }
    by_psychrolib = furthest(W[t, rh] / w - 1.0 for w, t, rh in ashrae)
    h = furthest(air.enthalpy(t, w) - psychrolib.GetMoistAirEnthalpy(t, w) for w, t, _ in ashrae)
    real_W = furthest(W[s] / real[s][0] - 1.0 for s in STATES)
    # CoolProp counts from other zeros for air and water than ASHRAE: 0 degC and 101325 Pa dry, so differences of 1 J
    real_h = furthest(air.enthalpy(s[0], real[s][0]) / real[s][1] - 1.0 for s in STATES)
    dew = furthest(air.dew_point(W[s], PA) - (real[s][2] - 273.15) for s in STATES)
    return (
        Figure(what="moisture content, furthest from psychrolib", expected=0.0, got=by_psychrolib, tolerance=3e-4),
        Figure(what="enthalpy at its W, furthest from psychrolib", expected=0.0, got=h, tolerance=1.0, unit="J/kg"),
        Figure(what="moisture content, furthest from CoolProp", expected=0.0, got=real_W, tolerance=6e-3),
        Figure(what="enthalpy at its W, furthest from CoolProp", expected=0.0, got=real_h, tolerance=1e-3),
        Figure(what="dew point, furthest from CoolProp", expected=0.0, got=dew, tolerance=0.01, unit="K"),
    )


def adiabatic(_: Effort) -> Sequence[Figure]:
    """Liquid water of the end temperature added until the air is just saturated: that is the wet-bulb temperature."""
    found = []
    for t, rh in DRY_STATES:
        W = psychrolib.GetHumRatioFromRelHum(t, rh / 100.0, PA)
        got = soaked(t, W, 0.0)[0]
        expected = psychrolib.GetTWetBulbFromHumRatio(t, W, PA)
        real = HAPropsSI("B", "T", t + 273.15, "R", rh / 100, "P", PA) - 273.15
        name = f"{t:g} degC / {rh:g} %"
        found.append(Figure(what=f"{name}, psychrolib", expected=expected, got=got, tolerance=0.003, unit="degC"))
        found.append(Figure(what=f"{name}, CoolProp", expected=real, got=got, tolerance=0.02, unit="degC"))
    return found


def soaked(t_degC: float, W: float, more: float) -> tuple[float, float, float]:
    """(degC, W, fog) of air after water of its wet-bulb temperature was added to saturation, and `more` beyond."""

    def end(bulb: float) -> tuple[float, float, float]:
        dose = air.saturated_W(bulb, PA) - W + more
        return air.flash(air.enthalpy(t_degC, W) + dose * LIQUID * bulb, W + dose, PA)

    lo, hi = t_degC - 40.0, t_degC
    for _ in range(60):
        middle = 0.5 * (lo + hi)
        lo, hi = (middle, hi) if end(middle)[0] > middle else (lo, middle)
    return end(0.5 * (lo + hi))


def excess(_: Effort) -> Sequence[Figure]:
    """2 g/kg more than saturation takes: all of it is fog, at the same temperature."""
    found = []
    for t, rh in DRY_STATES[:3]:
        W = moisture(t, rh)
        just, more = soaked(t, W, 0.0), soaked(t, W, 2e-3)
        name = f"{t:g} degC / {rh:g} %"
        found.append(Figure(what=f"{name}, temperature", expected=just[0], got=more[0], tolerance=1e-8, unit="degC"))
        found.append(Figure(what=f"{name}, fog", expected=2.0, got=1e3 * more[2], tolerance=1e-6, unit="g/kg"))
    return found


def mixing(_: Effort) -> Sequence[Figure]:
    """Two streams of moist air of which neither holds fog."""
    a, b = (28.0, 98.0), (36.0, 98.0)
    c, d = (5.0, 100.0), (40.0, 100.0)
    mild, wild = together(a, b), together(c, d)
    return (
        Figure(what="28 and 36 degC at 98 %", expected=32.0703, got=mild[0], tolerance=1e-3, unit="degC"),
        Figure(what="its fog", expected=0.00881, got=1e3 * mild[2], tolerance=1e-4, unit="g/kg"),
        Figure(what="5 and 40 degC saturated", expected=28.487, got=wild[0], tolerance=0.01, unit="degC"),
        Figure(what="its fog", expected=2.307, got=1e3 * wild[2], tolerance=5e-3, unit="g/kg"),
    )


def together(a: tuple[float, float], b: tuple[float, float]) -> tuple[float, float, float]:
    """Equal parts of air of two states (degC, %RH)."""
    (h, w), (i, x) = ((air.enthalpy(t, moisture(t, rh)), moisture(t, rh)) for t, rh in (a, b))
    return air.flash(0.5 * (h + i), 0.5 * (w + x), PA)


def clamped(right: Callable[..., Any]) -> Callable[..., Any]:
    """A flash that cuts moisture at saturation: water and its latent heat vanish."""

    def wrong(enthalpy: float, water: float, pressure: float, guess: float) -> tuple[float, float, float]:
        t = air.temperature_of(enthalpy, water)
        return t, min(water, air.saturated_W(t, pressure)), 0.0

    return wrong


LATENT = "kernel.moistair.LATENT_0_J_PER_KG"
CHECKS = (
    Check(
        name="saturation pressure", subject="moist air",
        proves="saturation pressure over water, its slope and its inverse",
        formula="IAPWS region 4: A b2 + B b + C = 0, b4 = p; closed inverse",
        source="IAPWS R7-97(2012), tables 35 and 36 (from memory); CoolProp IF97; psychrolib (Hyland and Wexler)",
        run=saturation,
        plants=(
            Plant(what="Magnus' curve instead", changes={"kernel.moistair.psat": instead(magnus)}),
            Plant(what="coefficient n6 0.01 % too large", changes={"kernel.moistair.N6": times(1.0001)}),
        ),
    ),
    Check(
        name="moist-air states", subject="moist air",
        proves="moisture content, enthalpy, dew point; the ideal-gas model is 0.5 % of W from real air",
        formula="W = 0.621945 p / (P - p); h = 1.006 t + W (2501 + 1.86 t) kJ/kg",
        source="psychrolib; CoolProp HAPropsSI",
        run=states,
        plants=(
            Plant(what="latent heat of 30 degC at 0 degC", changes={LATENT: instead(2.43e6)}),
            Plant(what="molar ratio 0.6198 for 0.6219", changes={"kernel.moistair.MOLAR_RATIO": instead(0.6198)}),
        ),
    ),
    Check(
        name="adiabatic saturation", subject="moist air",
        proves="evaporation cools the air as the latent heat says: fog's coupling of moisture and temperature",
        formula="h(T, W) + (Ws(Tb) - W) c_l Tb = h(Tb, Ws(Tb)), through the flash",
        source="psychrolib GetTWetBulbFromHumRatio, 0.003 K; CoolProp HAPropsSI, 0.02 K (real gas)",
        run=adiabatic,
        plants=(Plant(what="latent heat 1 % large", changes={LATENT: times(1.01)}),),
    ),
    Check(
        name="excess water is fog", subject="moist air",
        proves="water beyond saturation stays, as droplets with their enthalpy: nothing is clamped away",
        formula="F = w - Ws(T), h = 1.006 t + Ws (2501 + 1.86 t) + F 4.186 t",
        source="recomputed: closed form",
        run=excess,
        plants=(
            Plant(what="fog without enthalpy", changes={"kernel.moistair.LIQUID_J_PER_KG_K": instead(0.0)}),
            Plant(what="moisture clamped at saturation", changes={"kernel.moistair.flash_near": clamped}),
        ),
    ),
    Check(
        name="mixing makes fog", subject="moist air",
        proves="where two moist airs mix, the fog and the heat it sets free are right",
        formula="equal parts: mean h and mean w, then the flash",
        source="recomputed: bisection with ASHRAE's constants and Sonntag's (1990) saturation pressure",
        run=mixing,
        plants=(Plant(what="moisture clamped at saturation", changes={"kernel.moistair.flash_near": clamped}),),
    ),
)  # fmt: skip
