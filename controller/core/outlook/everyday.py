"""The heat of a day in a chamber that is filled and emptied all day: what must be given, what must be carried away.

Every hour of a day that repeats itself: heat of hydration of all that stands inside, by the age it has then, less what
the newcomers of the hour need, plus the fan, less what is lost. An estimate for choosing heater, vent and mix.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp

from controller.core.climate.moistair import enthalpy_kJ_per_kg, humidity_ratio, vapour_pressure_Pa
from controller.core.outlook.newcomers import Around, Newcomers, Trip
from controller.core.outlook.reduced import YOUNGEST_H
from controller.core.product.maturity import arrhenius_rate
from controller.core.product.mix import Mix

HOURS = 24
MIDDLE_H = 0.5  # of an hour


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """What a day asks for. tonnes: that come in. hydration_kW: mean, and most in an hour. heat_kW: most to be given;
    cooling_kW: most to be carried away, vent_kW: what the vent carries at the warmest hour outdoors."""

    tonnes: float
    hydration_kW: float
    hydration_kW_max: float
    heat_kW: float
    cooling_kW: float
    vent_kW: float
    warming_kWh: float


def day(
    what: Newcomers, mix: Mix, around: Around, trips: Sequence[Trip], outdoor: Sequence[tuple[float, float]],
    *, fan_kW: float, vent_kg_per_s: float,
) -> Day:
    """trips: of one day; each stays inside for a day. outdoor: (degC, %RH) an hour, a single one is constant."""
    hydrating, warming, tonnes = [0.0] * HOURS, [0.0] * HOURS, 0.0
    for trip in trips:
        hour = int(trip.time_s / 3600.0) % HOURS
        for load_t, degC in trip.places:
            tonnes += load_t
            warming[hour] += load_t * _MJ_per_K_per_t(what) * (around.temperature_degC - degC) / 3.6
        load_t = sum(load_t for load_t, _ in trip.places)
        for passed in range(HOURS):
            hydrating[(hour + passed) % HOURS] += load_t * _kW_per_t(mix, around.temperature_degC, passed + MIDDLE_H)
    cold, warm = min(outdoor), max(outdoor)
    need = [warm_kW - hydration - fan_kW for warm_kW, hydration in zip(warming, hydrating, strict=True)]
    inside = _enthalpy(around.temperature_degC, around.rh_pct)
    return Day(
        tonnes=tonnes,
        hydration_kW=sum(hydrating) / HOURS,
        hydration_kW_max=max(hydrating),
        heat_kW=max(0.0, max(need) + _lost_kW(what, around, cold)),
        cooling_kW=max(0.0, -min(need) - _lost_kW(what, around, warm)),
        vent_kW=max(0.0, vent_kg_per_s * (inside - _enthalpy(*warm))),
        warming_kWh=sum(warming),
    )


def _MJ_per_K_per_t(what: Newcomers) -> float:
    thermal = what.thermal
    boards = what.forecast.boards_share * thermal.fixed_MJ_per_K / thermal.nominal_t
    return thermal.product_MJ_per_K_per_t + boards


def _kW_per_t(mix: Mix, degC: float, inside_h: float) -> float:
    """Heat of hydration of a tonne that has stood so long at this temperature."""
    rate = arrhenius_rate(mix.activation_energy_kJ_per_mol, mix.reference_degC)(degC)
    age = max(YOUNGEST_H, rate * inside_h)
    x: float = (mix.heat_tau_h / age) ** mix.heat_shape
    per_h = exp(-x) * x * mix.heat_shape / age * rate
    cement_kg = 1000.0 * mix.cement_kg_per_m3 / mix.density_kg_per_m3
    return 1e-3 * cement_kg * mix.heat_J_per_kg * per_h / 3600.0


def _lost_kW(what: Newcomers, around: Around, outdoors: tuple[float, float]) -> float:
    """Through envelope and floor, and with the air that leaks; doors are left out."""
    shell, T = what.forecast, around.temperature_degC
    through = shell.envelope_m2 * shell.envelope_W_per_m2K * (T - outdoors[0])
    through += shell.floor_m2 * shell.floor_W_per_m2K * (T - shell.ground_degC)
    return 1e-3 * through + shell.leak_kg_per_s * (_enthalpy(T, around.rh_pct) - _enthalpy(*outdoors))


def _enthalpy(degC: float, rh_pct: float) -> float:
    return enthalpy_kJ_per_kg(degC, humidity_ratio(vapour_pressure_Pa(degC, rh_pct)))
