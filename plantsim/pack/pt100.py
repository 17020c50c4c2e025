"""Errors of a PT100: drawn within its class, of its leads, of its measuring current, as an offset and a slope."""

from __future__ import annotations

from math import sqrt
from zlib import crc32

from plantsim.kernel.instruments import pt100_ohm
from plantsim.kernel.noise import step_key, uniform
from plantsim.params import Pt100

# Tolerance a + b |t|, K. IEC 60751, as probe makers reprint its classes.
TOLERANCE = {"ideal": (0.0, 0.0), "AA": (0.1, 0.0017), "A": (0.15, 0.002), "B": (0.3, 0.005), "C": (0.6, 0.01)}
_A, _B = 3.9083e-3, -5.775e-7  # IEC 60751:2008, clause 5.2
_LO_degC, _HI_degC = 0.0, 50.0  # where the errors of the leads are exact; between and near, within 1 % of them


def errors(tag: str, own: Pt100) -> tuple[float, float]:
    """(offset in K at 0 degC, slope in K/K). The same for every run: they belong to the instrument, not to noise."""
    key = step_key(own.draw, crc32(tag.encode()))
    a, b = TOLERANCE[own.grade]
    offset, slope = a * (2.0 * uniform(key, 0) - 1.0), b * (2.0 * uniform(key, 1) - 1.0)
    ohm = {2: 2.0 * own.lead_ohm + own.imbalance_ohm, 3: own.imbalance_ohm, 4: 0.0}[own.wires]
    at_lo, at_hi = (degC_of(pt100_ohm(t) + ohm) - t for t in (_LO_degC, _HI_degC))
    return offset + at_lo + own.self_heating_K, slope + (at_hi - at_lo) / (_HI_degC - _LO_degC)


def degC_of(ohm: float) -> float:
    """Temperature that a transmitter takes a resistance for: the inverse of the quadratic, for 0 degC and above.

    Below 0 degC it is off by less than 0.01 K down to -30 degC.
    """
    return (-_A + sqrt(_A * _A - 4.0 * _B * (1.0 - ohm / 100.0))) / (2.0 * _B)
