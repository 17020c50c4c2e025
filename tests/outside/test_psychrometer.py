"""The controller's wet and dry bulb against tables recomputed with another library's saturation, and its wet bulb."""

from __future__ import annotations

import psychrolib
import pytest

from controller.core.climate.moistair import saturation_pressure_Pa
from controller.core.climate.pairs import PSYCHROMETERS, Coefficient, psychrometer_Pa

psychrolib.SetUnitSystem(psychrolib.SI)
SEA = 101325.0

# t, tw, Pa -> %RH with the coefficients of WMO-No. 8 (annex 4.B) and of Ferrel, and with constant ones; saturation
# after Hyland and Wexler.
TABLE = [
    (40.0, 20.0, SEA, 13.42, 13.14, 14.66, 9.72),
    (25.0, 20.0, SEA, 63.16, 63.00, 63.89, 61.01),
    (32.0, 30.0, SEA, 86.37, 86.32, 86.59, 85.82),
    (32.0, 31.0, SEA, 93.05, 93.03, 93.16, 92.78),
    (32.0, 31.713, SEA, 97.98, 97.97, 98.01, 97.90),
]


@pytest.mark.outside("recomputed: e = es(tw) - A p (t - tw), saturation by psychrolib; A of WMO and Ferrel from memory")
@pytest.mark.parametrize(("t", "tw", "p", "wmo", "ferrel", "aspirated", "still"), TABLE)
def test_humidity_from_dry_and_wet_bulb(t, tw, p, wmo, ferrel, aspirated, still):
    expected = {"wmo": wmo, "ferrel": ferrel, "aspirated": aspirated, "still": still}
    for name, rh in expected.items():
        A = PSYCHROMETERS[name]
        other = psychrolib.GetSatVapPres(tw) - A.per_K * (1.0 + A.rise_per_K * tw) * p * (t - tw)
        assert 100.0 * other / psychrolib.GetSatVapPres(t) == pytest.approx(rh, abs=0.006)
        own = 100.0 * psychrometer_Pa(t, tw, A, p) / saturation_pressure_Pa(t)
        assert own == pytest.approx(rh, abs=0.02)


@pytest.mark.outside("published: Fan 1987 (abstract): WMO reference psychrometer 6.23e-4 /K within 1.2 % at 23 degC")
def test_the_aspirated_coefficient_is_the_measured_one():
    A: Coefficient = PSYCHROMETERS["aspirated"]
    assert pytest.approx(6.23e-4, rel=0.012) == A.per_K
    assert PSYCHROMETERS["wmo"].per_K * (1.0 + 23.0 * PSYCHROMETERS["wmo"].rise_per_K) > 1.05 * A.per_K


@pytest.mark.outside("library: psychrolib, RH from the thermodynamic wet bulb")
@pytest.mark.parametrize(
    ("t", "rh"), [(40.0, 95.0), (32.0, 98.0), (32.0, 90.0), (25.0, 60.0), (40.0, 30.0), (35.0, 50.0)]
)
def test_a_ventilated_wick_is_read_near_the_thermodynamic_wet_bulb(t, rh):
    """Within 0.1 %RH at 98 % and 0.9 %RH in dry air: the coefficient hardly counts where a chamber works."""
    tw = psychrolib.GetTWetBulbFromRelHum(t, 0.01 * rh, SEA)
    own = 100.0 * psychrometer_Pa(t, tw, PSYCHROMETERS["wmo"], SEA) / saturation_pressure_Pa(t)
    assert own == pytest.approx(rh, abs=0.05 + 0.02 * (100.0 - rh) * 0.6)


@pytest.mark.outside("recomputed: 6.94 %RH a kelvin of wet bulb at 32 degC / 98 %RH, by hand")
def test_what_the_matching_of_the_pair_is_worth():
    A = PSYCHROMETERS["aspirated"]
    es = saturation_pressure_Pa(32.0)
    slope = 100.0 * (psychrometer_Pa(32.0, 31.763, A, SEA) - psychrometer_Pa(32.0, 31.663, A, SEA)) / es / 0.1
    assert slope == pytest.approx(6.94, abs=0.07)
