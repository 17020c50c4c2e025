"""Maturity: how much time at a reference temperature a temperature history is worth.

Arrhenius equivalent age after ASTM C1074 (there Q = Ea / R) is what control uses. The others are for comparison and
for curves that were fitted on them; an index and a curve made on another one must never be mixed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from math import exp

GAS_J_PER_MOLK = 8.314
ZERO_DEGC_K = 273.15

Rate = Callable[[float], float]
Rates = Callable[[Iterable[float]], list[float]]


def arrhenius_rate(activation_energy_kJ_per_mol: float, reference_degC: float = 20.0) -> Rate:
    """Rate factor against temperature in degC: exp(-Ea/R (1/T - 1/Tref)); 1 at the reference."""
    quotient = 1000.0 * activation_energy_kJ_per_mol / GAS_J_PER_MOLK
    at_reference = quotient / (reference_degC + ZERO_DEGC_K)

    def rate(temperature_degC: float) -> float:
        return exp(at_reference - quotient / (temperature_degC + ZERO_DEGC_K))

    return rate


def arrhenius_rates(activation_energy_kJ_per_mol: float, reference_degC: float = 20.0) -> Rates:
    """arrhenius_rate for many temperatures at once, bit for bit the same: without a call for each."""
    quotient = 1000.0 * activation_energy_kJ_per_mol / GAS_J_PER_MOLK
    at_reference = quotient / (reference_degC + ZERO_DEGC_K)

    def rates(temperatures_degC: Iterable[float]) -> list[float]:
        return [exp(at_reference - quotient / (temperature + ZERO_DEGC_K)) for temperature in temperatures_degC]

    return rates


def hansen_pedersen_rate(temperature_degC: float) -> float:
    """Arrhenius with Ea = 33.5 kJ/mol, more by 1.47 a kelvin below 20 degC (Freiesleben Hansen and Pedersen 1977)."""
    energy = 33.5 + 1.47 * max(0.0, 20.0 - temperature_degC)
    return arrhenius_rate(energy)(temperature_degC)


def eurocode_rate(temperature_degC: float) -> float:
    """EN 1992-1-1:2004 (B.10): exp(-(4000/(273+T) - 13.65)), 0 to 80 degC; 0.9981 at 20 degC, not 1."""
    return exp(13.65 - 4000.0 / (273.0 + temperature_degC))


def nurse_saul_rate(temperature_degC: float, datum_degC: float, reference_degC: float = 20.0) -> float:
    """(T - T0) over (Tref - T0), nothing below the datum (ASTM C1074, temperature-time factor)."""
    return max(0.0, temperature_degC - datum_degC) / (reference_degC - datum_degC)


def nurse_saul_maturity(times_h: Sequence[float], temperatures_degC: Sequence[float], datum_degC: float) -> float:
    """Temperature-time factor in degC h: the integral of T - T0 where it is positive, by trapezoid."""
    return integrate(times_h, temperatures_degC, lambda temperature: max(0.0, temperature - datum_degC))


def integrate(times_h: Sequence[float], temperatures_degC: Sequence[float], rate: Rate) -> float:
    """Integral of rate(T) over time by trapezoid; times in h, rising. Steps should be minutes, not hours."""
    total = 0.0
    for index in range(1, len(times_h)):
        step = times_h[index] - times_h[index - 1]
        total += 0.5 * step * (rate(temperatures_degC[index - 1]) + rate(temperatures_degC[index]))
    return total


def across_gap(rate: Rate, before_degC: float, after_degC: float) -> float:
    """Mean rate over an interval in which only both ends are known: straight line of temperature, Simpson's rule."""
    return (rate(before_degC) + 4.0 * rate(0.5 * (before_degC + after_degC)) + rate(after_degC)) / 6.0
