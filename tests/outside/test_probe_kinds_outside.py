"""Instruments in moist air against published tables and independent libraries."""

from __future__ import annotations

from math import exp

import numpy as np
import psychrolib
import pytest

from plantsim.chamber import Chamber
from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.kernel.feel import ELEMENT, WARM_DEW, WARM_HUMIDITY, coefficient, element, wick
from plantsim.kernel.jit import python_of
from plantsim.kernel.moistair import humidity_ratio, psat
from plantsim.pack.probes import FAILS_uA
from plantsim.pack.pt100 import TOLERANCE, degC_of, errors
from plantsim.params import Capacitive, PlantParams, Probe, Pt100
from plantsim.weather import Weather

P = 101325.0
element_, wick_, coefficient_ = map(python_of, (element, wick, coefficient))
psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.outside("published: IEC 60751 tolerance classes as a probe maker reprints them (a + b |t|)")
@pytest.mark.parametrize(
    ("grade", "t", "tolerance_K"),
    [("AA", 32, 0.154), ("A", 32, 0.214), ("B", 32, 0.460), ("A", 40, 0.230), ("B", 40, 0.500), ("C", 40, 1.000)],
)
def test_tolerance_of_the_classes(grade, t, tolerance_K):
    a, b = TOLERANCE[grade]
    assert a + b * t == pytest.approx(tolerance_K, abs=0.0006)


@pytest.mark.outside(
    "published: IEC 60751, resistance table of the PT100, as a sensor maker reprints it (sensorsci.com), 0.01 ohm"
)
@pytest.mark.parametrize(
    ("ohm", "t"), [(100.00, 0), (103.90, 10), (107.79, 20), (111.67, 30), (115.54, 40), (123.24, 60)]
)
def test_a_transmitter_reads_the_table_backwards(ohm, t):
    assert degC_of(ohm) == pytest.approx(t, abs=0.0135)  # half a hundredth of an ohm


@pytest.mark.outside("recomputed: 0.387 ohm/K between 30 and 40 degC of the same table, so 1 ohm of leads is 2.6 K")
def test_an_ohm_of_leads_is_2_6_K():
    offset, slope = errors("TT", Pt100(grade="ideal", wires=2, lead_ohm=0.5))
    assert offset + 35.0 * slope == pytest.approx(1.0 / ((115.54 - 111.67) / 10.0), abs=0.01)


@pytest.mark.outside("published: NAMUR NE 43, as several makers summarise it: failure <= 3.6 or >= 21 mA")
def test_failure_currents():
    assert FAILS_uA["low"] <= 3600.0
    assert FAILS_uA["high"] >= 21000.0


class Bench:
    """An element alone, in air of known moisture content."""

    def __init__(self, kind: int, warm_K: float = 0.0) -> None:
        probe = Probe(
            tag="M", sees="rh", bay=1, level=1, kind="capacitive", capacitive=Capacitive(memory_pct=0.0, body_s=10.0)
        )
        weather = Weather.constant(8.0, 80.0)
        model = Chamber(PlantParams(probe=(probe,)), charge=Charge(), weather=weather, seed=1)
        self.kind, self.own = kind, model.constants.probe[:, 0].copy()
        self.here = np.zeros(at.SENSE_ROWS)
        self.here[at.N_WARM], self.here[at.N_BODY_T] = warm_K, np.nan

    def read(self, degC: float, ratio: float, dt: float = 0.0) -> float:
        self.here[at.N_AIR_W] = ratio
        return element_(self.own, self.here, self.kind, degC, P, dt)


# Saturated salt solutions, RH = A exp(B/T): A. Wexler, Constant humidity solutions, CRC Handbook of Chemistry and
# Physics, section 15.
CRC = {"LiCl": (14.53, -75.0), "MgCl2": (29.26, 34.0), "NaCl": (69.20, 25.0), "K2SO4": (86.75, 34.0)}
# L. Greenspan, Humidity fixed points of binary saturated aqueous solutions, J. Res. NBS 81A (1977) 89-96, from memory.
GREENSPAN = [
    ("LiCl", 20, 11.31), ("LiCl", 25, 11.30), ("MgCl2", 20, 33.07), ("MgCl2", 25, 32.78), ("NaCl", 20, 75.47),
    ("NaCl", 25, 75.29), ("NaCl", 30, 75.09), ("K2SO4", 20, 97.59), ("K2SO4", 25, 97.30), ("K2SO4", 30, 97.00),
]  # fmt: skip


def in_a_salt_cell(t: float, rh: float) -> float:
    """Reading of an unwarmed element in the air of a cell, whose moisture content another library works out."""
    return Bench(ELEMENT).read(t, psychrolib.GetHumRatioFromRelHum(t, 0.01 * rh, P))


@pytest.mark.outside("published: CRC Handbook, constant humidity solutions; moisture of the cell's air by psychrolib")
@pytest.mark.parametrize("salt", CRC)
@pytest.mark.parametrize("t", [20.0, 25.0, 35.0])
def test_a_capacitive_probe_in_a_salt_cell_reads_the_salt(salt, t):
    A, B = CRC[salt]
    rh = A * exp(B / (t + 273.15))
    assert in_a_salt_cell(t, rh) == pytest.approx(rh, abs=0.03)


@pytest.mark.outside(
    "memory: Greenspan 1977, fixed points of saturated salts; moisture of the cell's air by psychrolib"
)
@pytest.mark.parametrize(("salt", "t", "rh"), GREENSPAN)
def test_a_capacitive_probe_reads_the_fixed_points(salt, t, rh):
    A, B = CRC[salt]
    assert in_a_salt_cell(float(t), rh) == pytest.approx(rh, abs=0.03)
    assert rh == pytest.approx(A * exp(B / (t + 273.15)), rel=0.02)  # the other table claims 2 %


@pytest.mark.outside("library: psychrolib; a warmed element's dew point does not depend on how warm it is")
@pytest.mark.parametrize("warm_K", [1.0, 3.0, 5.0])
@pytest.mark.parametrize(("t", "rh"), [(32.0, 98.0), (14.0, 97.0), (40.0, 95.0), (25.0, 50.0)])
def test_a_warmed_probe_gives_the_dew_point(t, rh, warm_K):
    ratio = psychrolib.GetHumRatioFromRelHum(t, 0.01 * rh, P)
    dew = psychrolib.GetTDewPointFromRelHum(t, 0.01 * rh)
    assert Bench(WARM_DEW, warm_K).read(t, ratio) == pytest.approx(dew, abs=0.012)
    assert Bench(WARM_HUMIDITY, warm_K).read(t, ratio) == pytest.approx(rh, abs=0.02)


@pytest.mark.outside("recomputed: RH at a body 1, 2, 3 and 5 K warmer than air of 32 degC / 98 %RH, psychrolib")
@pytest.mark.parametrize(("body", "rh"), [(33.0, 92.63), (34.0, 87.59), (35.0, 82.86), (37.0, 74.25)])
def test_what_the_warmed_element_itself_sees(body, rh):
    ratio = humidity_ratio(0.98 * psat(32.0), P)
    assert Bench(ELEMENT).read(body, ratio) == pytest.approx(rh, abs=0.02)
    vapour = 0.98 * psychrolib.GetSatVapPres(32.0)
    assert rh == pytest.approx(100.0 * vapour / psychrolib.GetSatVapPres(body), abs=0.02)


@pytest.mark.outside("recomputed: film of 0.05 kg/m2, h_c 10 W/m2K, 32 degC, h_m = h_c / (c_p Le^(2/3)), by hand")
@pytest.mark.parametrize(("rh", "dries_in_s"), [(90.0, 1479.0), (95.0, 2950.0), (98.0, 7365.0)])
def test_a_film_dries_in_25_minutes_at_90_pct_and_2_hours_at_98(rh, dries_in_s):
    probe = Bench(ELEMENT)
    ratio = humidity_ratio(0.01 * rh * psat(32.0), P)
    probe.read(32.0, ratio)
    probe.here[at.N_FILM] = 0.05
    seconds = 0.0
    while probe.here[at.N_FILM] > 0.0:
        shown = probe.read(32.0, ratio, 5.0)
        assert shown == 100.0 or probe.here[at.N_FILM] < 0.002
        seconds += 5.0
    assert seconds == pytest.approx(dries_in_s, rel=0.025)


# RH from dry and wet bulb: e = es(tw) - A p (t - tw) with a constant A, es after Hyland and Wexler, recomputed.
PSYCHROMETER = [
    (40.0, 20.0, 6.2e-4, 14.66), (25.0, 20.0, 6.2e-4, 63.89), (32.0, 30.0, 6.2e-4, 86.59), (32.0, 31.0, 6.2e-4, 93.16),
    (40.0, 20.0, 8e-4, 9.72), (25.0, 20.0, 8e-4, 61.01), (32.0, 30.0, 8e-4, 85.82), (32.0, 31.0, 8e-4, 92.78),
]  # fmt: skip


@pytest.mark.outside("recomputed: psychrometer equation with psychrolib's saturation pressure (Hyland and Wexler 1983)")
@pytest.mark.parametrize(("t", "tw", "A", "rh"), PSYCHROMETER)
def test_a_wick_takes_the_temperature_of_the_psychrometer_table(t, tw, A, rh):
    es_t, es_tw = psychrolib.GetSatVapPres(t), psychrolib.GetSatVapPres(tw)
    assert 100.0 * (es_tw - A * P * (t - tw)) / es_t == pytest.approx(rh, abs=0.006)
    here = np.zeros(at.SENSE_ROWS)
    here[at.N_AIR_W], here[at.N_WET_T], here[at.N_WETTED] = humidity_ratio(0.01 * rh * psat(t), P), np.nan, 1.0
    assert wick_(here, t, A, P) == pytest.approx(tw, abs=0.005)


@pytest.mark.outside("memory: psychrometer coefficient about 6.2e-4 /K ventilated at 3 m/s or more, 8e-4 unventilated")
def test_the_coefficient_of_a_wick_without_ventilation_is_that_in_general_use():
    assert coefficient_(6.2e-4, 0.0) == pytest.approx(8.0e-4, rel=0.03)
    assert coefficient_(6.2e-4, 10.0) == pytest.approx(6.2e-4, rel=0.04)


@pytest.mark.outside("library: psychrolib, thermodynamic wet bulb; a well ventilated wick comes within 0.2 K of it")
@pytest.mark.parametrize(("t", "rh"), [(40.0, 20.0), (35.0, 50.0), (32.0, 90.0), (25.0, 60.0), (32.0, 98.0)])
def test_a_ventilated_wick_is_near_the_thermodynamic_wet_bulb(t, rh):
    here = np.zeros(at.SENSE_ROWS)
    here[at.N_AIR_W], here[at.N_WET_T], here[at.N_WETTED] = humidity_ratio(0.01 * rh * psat(t), P), np.nan, 1.0
    expected = psychrolib.GetTWetBulbFromRelHum(t, 0.01 * rh, P)
    assert wick_(here, t, 6.2e-4, P) == pytest.approx(expected, abs=0.25)
