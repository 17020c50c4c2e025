"""Moisture of one body: from its humidity, from a dew point beside it, or from a wet bulb beside a dry one.

Everything comes out as vapour pressure. A reading above saturation at the body's own temperature counts as saturated:
more than that no air of a chamber holds.
"""

from __future__ import annotations

from collections.abc import Callable
from math import nan
from typing import NamedTuple

from controller.core.binding import Binder
from controller.core.climate.moistair import STANDARD_PRESSURE_PA, saturation_pressure_Pa
from controller.core.climate.watched import Pair

Way = Callable[[float, float], float]  # (temperature_degC, reading) -> vapour pressure in Pa, NaN when there is none

_REMEMBERED = 20_000  # saturation pressures kept; a converter of finite resolution repeats its readings
WICK_ABOVE_AIR_K_MAX = 1.0  # a wick warmer than the air by more is none: probes of class B may differ by so much


class Coefficient(NamedTuple):
    """A = per_K (1 + rise_per_K tw), 1/K."""

    per_K: float
    rise_per_K: float = 0.0


# By name, for the chamber file. wmo: WMO-No. 8, annex 4.B, from memory. ferrel: Ferrel 1886, as meteorological tables
# and ASTM E337 carry it on, from memory. aspirated: WMO reference psychrometer as measured by Fan 1987, 6.23e-4 at
# 23 degC. still: a wick without a fan, from memory.
PSYCHROMETERS = {
    "wmo": Coefficient(6.53e-4, 9.44e-4),
    "ferrel": Coefficient(6.60e-4, 1.15e-3),
    "aspirated": Coefficient(6.2e-4),
    "still": Coefficient(8.0e-4),
}


def psychrometer_Pa(
    dry_degC: float, wet_degC: float, coefficient: Coefficient, pressure_Pa: float = STANDARD_PRESSURE_PA
) -> float:
    """Vapour pressure from dry and wet bulb: es(tw) - A p (t - tw), at most es(t).

    NaN where that is negative, where the wick is warmer than the air by more than 1 K, and for NaN.
    """
    below = dry_degC - wet_degC
    if not below >= -WICK_ABOVE_AIR_K_MAX:
        return nan
    if below <= 0.0:
        return saturation_pressure_Pa(dry_degC)
    A = coefficient.per_K * (1.0 + coefficient.rise_per_K * wet_degC)
    vapour = saturation_pressure_Pa(wet_degC) - A * pressure_Pa * below
    return vapour if vapour > 0.0 else nan


def reading_of(pair: Pair) -> tuple[str, str]:
    """Field and tag of what gives a pair its moisture; of several the first, ("rh", "") when there is none."""
    given = [(field, tag) for field in ("rh", "wet", "dew") if (tag := getattr(pair, field))]
    return given[0] if given else ("rh", "")


def problem_of(pair: Pair) -> tuple[str, str, str, str] | None:
    """(field, value, limit, remedy) of what is wrong with a pair by itself; None when it is sound."""
    given = [field for field in ("rh", "wet", "dew") if getattr(pair, field)]
    if not given:
        return "rh", "(missing)", "needed: one of rh, wet and dew", "add rh = ... with the tag of the humidity beside t"
    if len(given) > 1:
        return given[1], getattr(pair, given[1]), f"{given[0]} is given too", "name one of rh, wet and dew"
    if given == ["wet"] and pair.wet == pair.t:
        return "wet", pair.wet, "is the dry bulb of the same pair", "name the point of the wet bulb"
    if given != ["wet"] and pair.psychrometer != "wmo":
        return "psychrometer", pair.psychrometer, "only for a wet bulb", "take it out, or name a wet bulb"
    return None


def columns(binder: Binder, pairs: tuple[Pair, ...]) -> list[int]:
    """Column of what gives each pair its moisture. Refuses pairs with none or several."""
    found = []
    for index, pair in enumerate(pairs):
        field, tag = reading_of(pair)
        wrong = problem_of(pair)
        if wrong:
            binder.refuse(f"pairs[{index}].{wrong[0]}", *wrong[1:])
        found.append(binder.column(f"pairs[{index}].{field}", tag) if tag else 0)
    return found


def ways(pairs: tuple[Pair, ...], pressure_Pa: float, saturation_Pa: Callable[[float], float]) -> tuple[Way, ...]:
    """How each pair's moisture is worked out; empty when all have a humidity, which has a quicker way of its own."""
    kinds = [reading_of(pair)[0] for pair in pairs]
    if set(kinds) == {"rh"}:
        return ()
    simple = {"rh": lambda t, rh: 0.01 * min(rh, 100.0) * saturation_Pa(t), "dew": _dew(saturation_Pa)}
    return tuple(
        _wet(PSYCHROMETERS[pair.psychrometer], pressure_Pa) if kind == "wet" else simple[kind]
        for kind, pair in zip(kinds, pairs, strict=True)
    )


class Remembered(dict[float, float]):
    """Saturation pressure by temperature, evaluated once for each that comes; bounded, and it changes no result."""

    def __missing__(self, temperature_degC: float) -> float:
        pressure = saturation_pressure_Pa(temperature_degC)
        if pressure > 0.0:  # NaN is not kept: it would never be found again
            if len(self) >= _REMEMBERED:
                self.clear()
            self[temperature_degC] = pressure
        return pressure


def _wet(coefficient: Coefficient, pressure_Pa: float) -> Way:
    return lambda t, wet: psychrometer_Pa(t, wet, coefficient, pressure_Pa)


def _dew(saturation_Pa: Callable[[float], float]) -> Way:
    def way(t: float, dew: float) -> float:
        return saturation_Pa(t if dew > t else dew) if t == t else nan

    return way
