"""Instruments that are not plain: their element, their place in the chamber, and what they remember."""

from __future__ import annotations

from math import exp

import numpy as np
import pytest

from plantsim.chamber import OUTPUTS, Chamber
from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.kernel.feel import BODY, ELEMENT, WARM_DEW, WARM_HUMIDITY, coefficient, element, wick
from plantsim.kernel.jit import python_of
from plantsim.kernel.moistair import dew_point, humidity_ratio, psat
from plantsim.pack.probes import is_plain
from plantsim.pack.pt100 import TOLERANCE, errors
from plantsim.params import Capacitive, Card, Place, PlantParams, Probe, Pt100, Warmed, Wick
from plantsim.weather import Weather

P = 101325.0
HOUR = 3600.0
element_, wick_, coefficient_ = map(python_of, (element, wick, coefficient))
IDEAL = Pt100(grade="ideal")


def chamber(*probes: Probe, dt_s: float = 1.0, tonnes: float = 120.0) -> Chamber:
    charge = Charge(tonnes=tonnes)
    return Chamber(PlantParams(probe=probes), charge=charge, weather=Weather.constant(8.0, 80.0), seed=7, dt_s=dt_s)


def shown(model: Chamber) -> list[float]:
    """Readings in the units of the probes, rounded by their cards."""
    lo, hi = model.constants.probe[at.R_LO], model.constants.probe[at.R_HI]
    return list(lo + (hi - lo) * (np.array(model.microamps) - 4000.0) / 16000.0)


def air(tag: str, sees: str = "air", **given) -> Probe:
    return Probe(tag=tag, sees=sees, bay=2, level=5, **given)


class Element:
    """One capacitive element on a bench, in air that can be chosen."""

    def __init__(self, kind: int, *, warm_K=0.0, dt_s=1.0, **given) -> None:
        probe = air("M", "rh", kind="capacitive", capacitive=Capacitive(**given))
        model = chamber(probe, dt_s=dt_s)
        self.kind, self.dt_s = kind, dt_s
        self.own, self.here = model.constants.probe[:, 0].copy(), model.state.senses[:, 0].copy()
        self.here[:] = 0.0
        self.here[at.N_BODY_T], self.here[at.N_WARM] = np.nan, warm_K

    def read(self, degC: float, rh_pct: float, seconds: float = 0.0) -> float:
        self.here[at.N_AIR_W] = humidity_ratio(0.01 * rh_pct * psat(degC), P)
        value = element_(self.own, self.here, self.kind, degC, P, 0.0)
        for _ in range(round(seconds / self.dt_s)):
            value = element_(self.own, self.here, self.kind, degC, P, self.dt_s)
        return value


def test_a_probe_without_any_section_is_plain_and_is_not_listed():
    model = chamber(air("T"), air("M", "rh", lag_s=15.0, noise=0.1, offset=0.3))
    assert all(is_plain(probe) for probe in model.params.probe)
    assert model.constants.probe[at.R_ODD].tolist() == [-1.0, -1.0]


def test_the_long_way_through_an_ideal_instrument_ends_where_the_short_one_does():
    """Kind, place and card that change nothing: every current is that of the plain probe to a microamp of rounding."""
    harmless = Card(most_mA=25.0)
    plain = [air("T", lag_s=30.0), air("M", "rh", lag_s=15.0), Probe(tag="B", sees="board", bay=1, level=1)]
    odd = [air("T", lag_s=30.0, card=harmless), air("M", "rh", lag_s=15.0, card=harmless)]
    odd += [Probe(tag="B", sees="board", bay=1, level=1, kind="pt100", pt100=IDEAL)]
    models = chamber(*plain), chamber(*odd)
    for _ in range(600):
        for model in models:
            model.step(OUTPUTS_BUSY)
        assert np.abs(np.subtract(models[0].microamps, models[1].microamps)).max() <= 1


def test_unusual_probes_change_no_other_channel_and_nothing_of_the_chamber():
    plain = [air("T", lag_s=30.0, noise=0.02), air("M", "rh", lag_s=15.0, noise=0.1)]
    alone, together = chamber(*plain), chamber(*plain, air("C", "rh", kind="capacitive"), air("W", "wet", kind="wick"))
    for _ in range(300):
        alone.step(OUTPUTS_BUSY)
        together.step(OUTPUTS_BUSY)
    assert together.microamps[:2] == alone.microamps
    assert together.truth_row == alone.truth_row


@pytest.mark.parametrize("grade", ["AA", "A", "B", "C"])
def test_the_error_of_a_pt100_is_drawn_within_its_class_once_for_ever(grade):
    a, b = TOLERANCE[grade]
    drawn = [errors(f"TT-{i}", Pt100(grade=grade)) for i in range(400)]
    for t in (0.0, 20.0, 60.0):
        found = np.array([offset + slope * t for offset, slope in drawn])
        assert abs(found).max() <= a + b * t
        assert found.min() < -0.85 * (a + b * t) < 0.85 * (a + b * t) < found.max()
        assert abs(found.mean()) < 0.15 * a
    assert errors("TT-1", Pt100(grade=grade)) == drawn[1]
    assert errors("TT-1", Pt100(grade=grade, draw=1)) != drawn[1]


def test_leads_count_twice_with_two_wires_by_their_difference_with_three_and_not_with_four():
    given = {"grade": "ideal", "lead_ohm": 0.5, "imbalance_ohm": 0.02}
    two, three, four = (errors("TT", Pt100(wires=wires, **given))[0] for wires in (2, 3, 4))
    assert two == pytest.approx(1.02 / 0.391, rel=0.002)  # at 0 degC a PT100 has 0.391 ohm/K
    assert three == pytest.approx(0.02 / 0.391, rel=0.002)
    assert four == pytest.approx(0.0, abs=1e-12)
    assert errors("TT", Pt100(grade="ideal", self_heating_K=0.15))[0] == pytest.approx(0.15, abs=1e-12)


def test_a_pt100_shows_the_air_with_its_own_error():
    own = Pt100(grade="B", wires=2, lead_ohm=0.3)
    model = chamber(air("TT-1", kind="pt100", pt100=own))
    model.start(32.0, 90.0)
    offset, slope = errors("TT-1", own)
    assert shown(model)[0] == pytest.approx(32.0 * (1.0 + slope) + offset, abs=0.003)


def test_a_capacitive_pair_is_one_body_whose_temperature_lags():
    thermometer = Element(BODY, body_s=40.0)
    thermometer.read(20.0, 50.0)
    assert thermometer.read(30.0, 50.0, 40.0) == pytest.approx(30.0 - 10.0 * exp(-1.0), abs=1e-9)


def test_humidity_is_that_at_the_body_so_the_dew_point_of_the_pair_is_right_while_it_lags():
    hygrometer = Element(ELEMENT, body_s=60.0, memory_pct=0.0)
    hygrometer.read(34.0, 60.0)
    rh = hygrometer.read(30.0, 70.0, 30.0)
    body = hygrometer.here[at.N_BODY_T]
    assert 30.5 < body < 33.5
    assert 0.01 * rh * psat(body) == pytest.approx(0.70 * psat(30.0), rel=1e-12)


def test_a_body_below_the_dew_point_grows_a_film_up_to_what_it_holds_and_reads_100():
    hygrometer = Element(ELEMENT, body_s=600.0, film_most_kg_per_m2=0.01)
    hygrometer.read(20.0, 90.0)
    assert hygrometer.read(32.0, 98.0, 60.0) == pytest.approx(100.0, abs=0.01)
    assert 0.0 < hygrometer.here[at.N_FILM] < 0.01
    hygrometer.read(32.0, 98.0, 1200.0)
    assert hygrometer.here[at.N_FILM] <= 0.01


def test_a_film_pins_the_reading_until_it_has_gone_and_the_true_value_comes_back():
    hygrometer = Element(ELEMENT, memory_pct=0.0)
    hygrometer.read(32.0, 90.0)
    hygrometer.here[at.N_FILM] = 0.05
    assert hygrometer.read(32.0, 90.0, 1200.0) == 100.0
    assert hygrometer.read(32.0, 90.0, 600.0) == pytest.approx(90.0, abs=0.01)


def test_long_time_in_moist_air_lifts_the_reading_and_dry_air_takes_it_back():
    hygrometer = Element(ELEMENT, dt_s=2.0, memory_pct=2.5, memory_rise_h=2.0, memory_fall_h=1.0)
    assert hygrometer.read(32.0, 95.0) == pytest.approx(95.0, abs=1e-9)
    assert hygrometer.read(32.0, 95.0, 2 * HOUR) == pytest.approx(95.0 + 2.5 * (1.0 - exp(-1.0)), abs=0.01)
    risen = hygrometer.here[at.N_MEMORY]
    assert hygrometer.read(32.0, 60.0, HOUR) == pytest.approx(60.0 + risen * exp(-1.0), abs=0.01)


def test_drift_goes_on_from_the_age_and_the_gain_is_relative():
    probe = air("M", "rh", kind="capacitive", capacitive=Capacitive(drift_pct_per_year=2.0, age_years=1.5))
    gained = air("G", "rh", kind="capacitive", capacitive=Capacitive(gain_error=0.04))
    model = chamber(probe, gained)
    model.start(25.0, 50.0)
    assert shown(model) == pytest.approx([53.0, 52.0], abs=0.005)
    assert model.constants.probe[at.R_DRIFT, 0] * 8760 * HOUR == pytest.approx(2.0)


def test_a_capacitive_probe_never_shows_more_than_100():
    probe = air("M", "rh", kind="capacitive", offset=3.0, noise=0.5)
    model = chamber(probe)
    model.start(30.0, 99.5)
    for _ in range(50):
        model.step((0.0,) * len(OUTPUTS))
        assert shown(model)[0] <= 100.01


def test_a_warmed_probe_gives_the_dew_point_of_the_air_and_its_rh():
    probes = [air("D", "dew", kind="warmed"), air("M", "rh", kind="warmed", warmed=Warmed(warm_K=5.0))]
    model = chamber(*probes)
    model.start(32.0, 98.0)
    W = humidity_ratio(0.98 * psat(32.0), P)
    assert shown(model) == pytest.approx([dew_point(W, P), 98.0], abs=0.005)


def test_errors_of_a_warmed_probe_reach_the_reading_through_both_saturation_curves():
    """Of the element by es(Ts)/es(Ta); of the thermometer in the air by 5.5 %/K."""
    warm = Element(WARM_HUMIDITY, warm_K=3.0)
    assert warm.read(32.0, 90.0) == pytest.approx(90.0, abs=1e-9)
    warm.own[at.R_RH_ERROR] = 1.0
    assert warm.read(32.0, 90.0) - 90.0 == pytest.approx(psat(35.0) / psat(32.0), rel=1e-9)
    warm.own[at.R_RH_ERROR], warm.own[at.R_AIR_ERROR] = 0.0, 0.1
    assert warm.read(32.0, 90.0) - 90.0 == pytest.approx(-0.1 * 0.0565 * 90.0, rel=0.02)
    warm.own[at.R_AIR_ERROR], warm.own[at.R_BODY_ERROR] = 0.0, 0.1
    assert warm.read(32.0, 90.0) - 90.0 == pytest.approx(0.1 * 0.0565 * 90.0, rel=0.04)


def test_a_warmed_probe_stays_dry_where_a_cold_one_is_wet():
    cold, warm = Element(ELEMENT, body_s=60.0), Element(WARM_DEW, body_s=60.0, warm_K=3.0)
    for probe in (cold, warm):
        probe.read(30.0, 95.0)
        probe.read(32.0, 99.0, 120.0)
    assert cold.here[at.N_FILM] > 0.0
    assert warm.here[at.N_FILM] == 0.0


def test_a_wick_obeys_the_psychrometer_equation_and_its_faults_all_read_too_moist():
    here = np.zeros(at.SENSE_ROWS)
    here[at.N_AIR_W], here[at.N_WETTED] = humidity_ratio(0.9 * psat(32.0), P), 1.0
    here[at.N_WET_T] = np.nan
    tw = wick_(here, 32.0, 6.2e-4, P)
    assert psat(tw) - 6.2e-4 * P * (32.0 - tw) == pytest.approx(0.9 * psat(32.0), rel=1e-9)
    assert wick_(here, 32.0, 8e-4, P) > tw
    here[at.N_WETTED] = 0.25
    assert wick_(here, 32.0, 6.2e-4, P) == pytest.approx(tw + 0.75 * (32.0 - tw), abs=1e-9)
    here[at.N_WETTED], here[at.N_SALT] = 1.0, 0.03
    assert wick_(here, 32.0, 6.2e-4, P) > tw + 0.1
    here[at.N_SALT], here[at.N_RESERVOIR] = 0.0, 0.5
    assert wick_(here, 32.0, 6.2e-4, P) == pytest.approx(tw + 0.5, abs=1e-9)


def test_the_psychrometer_coefficient_rises_in_slow_air_and_stays_finite_in_still_air():
    at_rest, slow, usual, fast = (coefficient_(6.2e-4, speed) for speed in (0.0, 0.5, 3.0, 8.0))
    assert at_rest == coefficient_(6.2e-4, 0.1)
    assert at_rest > slow > usual > fast
    assert usual == pytest.approx(6.2e-4, rel=1e-12)


def test_a_wick_with_a_fan_of_its_own_does_not_feel_that_the_chamber_stops():
    probes = [
        air("A", "wet", kind="wick", pt100=IDEAL),
        air("B", "wet", kind="wick", pt100=IDEAL, wick=Wick(air_m_per_s=3.0)),
    ]
    model = chamber(*probes)
    model.start(35.0, 30.0)
    still, own = shown(model)
    assert still - own > 0.2


def test_a_probe_in_a_jet_sees_its_share_of_the_supply_air():
    model = chamber(air("T"), air("J", place=Place(jet_share=0.4)), Probe(tag="S", sees="supply"))
    for _ in range(900):
        model.step(OUTPUTS_BUSY)
    cell, jet, supply = shown(model)
    assert supply - cell > 0.5
    assert jet == pytest.approx(cell + 0.4 * (supply - cell), abs=0.01)


def test_moisture_of_the_jet_is_that_of_the_supply_air():
    place = Place(jet_share=1.0)
    model = chamber(air("T", place=place), air("M", "rh", place=place))
    for _ in range(900):
        model.step(OUTPUTS_BUSY)
    degC, rh = shown(model)
    moisture = humidity_ratio(0.01 * rh * psat(degC), P)
    assert moisture == pytest.approx(model.state.gear[at.G_SUPPLY_W], rel=1e-3)
    assert moisture != pytest.approx(model.state.air[at.AIR_W].mean(), rel=2e-3)


def test_a_dead_corner_lags_and_is_warmer_at_the_same_moisture():
    place = Place(exchange_s=600.0, stratified_K=1.5)
    model = chamber(air("T", place=place), air("M", "rh", place=place))
    model.start(30.0, 80.0)
    degC, rh = shown(model)
    assert degC == pytest.approx(31.5, abs=0.003)
    assert 0.01 * rh * psat(degC) == pytest.approx(0.8 * psat(30.0), rel=5e-4)
    before = shown(model)[0]
    model.state.air[at.AIR_T] += 5.0
    model.state.air[at.AIR_H] += 5.0 * 1006.0 * model.constants.k[at.K_AIR_KG]
    model.step((0.0,) * len(OUTPUTS))
    assert 0.0 < shown(model)[0] - before < 0.05


def test_a_probe_on_a_wall_or_before_warm_product_is_between_these_and_the_air():
    probes = [air("W", place=Place(wall_share=0.3)), air("R", place=Place(radiant_share=0.2))]
    model = chamber(*probes)
    cell = 1 * 12 + 4
    model.start(30.0, 80.0)
    model.state.wall[at.S_T, cell], model.state.product[at.P_SKIN, cell] = 20.0, 40.0
    model.set_spans({})  # reads anew
    assert shown(model) == pytest.approx([27.0, 32.0], abs=0.003)


def test_in_an_empty_position_the_rack_takes_the_place_of_the_product():
    model = chamber(air("R", place=Place(radiant_share=0.2)), tonnes=0.0)
    model.start(30.0, 80.0)
    model.state.board[at.S_T, 1 * 12 + 4] = 25.0
    model.set_spans({})
    assert shown(model)[0] == pytest.approx(29.0, abs=0.003)


OUTPUTS_BUSY = (1.0, 75.0, 1.0, 60.0, 10.0, 0.0, 1.0, 0.0)
