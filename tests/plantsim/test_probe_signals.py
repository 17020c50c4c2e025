"""Transmitters, input cards, what a probe remembers by name, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from plantsim.chamber import OUTPUTS, Chamber
from plantsim.charge import Charge
from plantsim.kernel.jit import python_of
from plantsim.kernel.reading import counted, current_uA
from plantsim.params import Capacitive, Card, Kind, Place, PlantParams, Probe, Pt100, Sees, Transmitter, Warmed, Wick
from plantsim.weather import Weather

counted_, current_ = map(python_of, (counted, current_uA))
IDLE = (0.0,) * len(OUTPUTS)


def chamber(*probes: Probe) -> Chamber:
    return Chamber(PlantParams(probe=probes), charge=Charge(), weather=Weather.constant(8.0, 80.0), seed=7)


def air(tag: str, sees: Sees = "air", kind: Kind = "plain", **given) -> Probe:
    return Probe(tag=tag, sees=sees, bay=2, level=5, kind=kind, **given)


def constants(**given) -> np.ndarray:
    """The column of a probe of -10..60 degC with this transmitter or card."""
    return chamber(air("T", kind="pt100", pt100=Pt100(grade="ideal"), **given)).constants.probe[:, 0]


@pytest.mark.parametrize(("bits", "step_uA"), [(12, 20000 / 4096), (15, 20000 / 32768), (16, 20000 / 65536)])
def test_a_card_shows_currents_in_its_own_counts(bits, step_uA):
    own = constants(card=Card(bits=bits))
    wanted = np.linspace(3600.0, 21400.0, 5001)
    seen = np.array([counted_(own, x) for x in wanted])
    assert abs(seen - wanted).max() <= 0.5 * step_uA + 0.5
    assert len(set(seen.tolist())) == pytest.approx(min(17800.0 / step_uA, 5001.0), abs=3)


def test_a_card_from_4_mA_has_finer_counts_and_the_same_zero():
    own = constants(card=Card(bits=12, from_mA=4.0))
    assert [counted_(own, x) for x in (4000.0, 4001.0, 4002.0, 4004.0)] == [4000, 4000, 4004, 4004]


def test_beyond_its_ends_a_card_sees_its_ends():
    own = constants(card=Card(least_mA=1.0, most_mA=22.0))
    assert counted_(own, 0.0) == 1000
    assert counted_(own, 30000.0) == 22000


def test_a_two_point_calibration_error_is_exact_at_both_ends_and_between_them_linear():
    own = constants(transmitter=Transmitter(zero_error_pct=0.5, span_error_pct=-1.0))
    ideal = constants(card=Card(bits=16))
    apart = [current_(own, t) - current_(ideal, t) for t in (-10.0, 25.0, 60.0)]
    assert apart == pytest.approx([80.0, -40.0, -160.0], abs=1e-9)


def test_a_transmitter_saturates_at_the_ends_of_its_measuring_range():
    own = constants(transmitter=Transmitter(zero_error_pct=5.0))
    assert [current_(own, t) for t in (-90.0, 200.0)] == [3800.0, 20500.0]


def test_a_lost_sensor_sends_the_failure_current_for_which_its_transmitter_is_set():
    probes = [air("A", kind="pt100"), air("B", "rh", "capacitive", transmitter=Transmitter(fails="high")), air("C")]
    model = chamber(*probes)
    for probe in probes:
        model.lose_probe(probe.tag)
    model.step(IDLE)
    assert model.microamps == pytest.approx([3500, 21500, 3500], abs=1)


def test_what_a_probe_remembers_can_be_seen_and_set_by_name():
    model = chamber(air("M", "rh", "capacitive"), air("W", "wet", "wick"), air("D", "dew", "warmed"), air("T"))
    assert set(model.probe_state("M")) == {"film_kg_per_m2", "memory_pct", "body_degC", "drift"}
    assert model.probe_state("W") == {"wetted": 1.0, "salt": 0.0, "reservoir_K": 0.0, "drift": 0.0}
    assert model.probe_state("D")["warm_K"] == 3.0
    assert model.probe_state("T") == {}
    model.set_probe("M", "film_kg_per_m2", 0.03)
    assert model.probe_state("M")["film_kg_per_m2"] == 0.03


def test_a_wick_that_dries_out_and_a_film_and_a_drift_are_seen_from_the_next_step():
    pt100 = Pt100(grade="ideal")
    model = chamber(air("M", "rh", "capacitive"), air("W", "wet", "wick", pt100=pt100), air("T"))
    model.start(30.0, 60.0)
    before = model.microamps
    model.set_probe("M", "film_kg_per_m2", 0.05)
    model.set_probe("W", "wetted", 0.0)
    model.step(IDLE)
    after = model.microamps
    assert after[0] == 20000
    assert after[1] > before[1] + 1000
    assert after[1] == pytest.approx(after[2], abs=2)
    model.set_probe("M", "film_kg_per_m2", 0.0)
    model.set_probe("M", "drift", -5.0)
    model.step(IDLE)
    assert model.microamps[0] == pytest.approx(before[0] - 800, abs=40)


def test_a_new_start_takes_up_the_new_air_and_keeps_films():
    model = chamber(air("M", "rh", "capacitive", capacitive=Capacitive(memory_pct=0.0)))
    model.start(40.0, 50.0)
    assert model.probe_state("M")["body_degC"] == pytest.approx(40.0, abs=1e-9)
    assert model.microamps[0] == pytest.approx(12000, abs=2)
    model.set_probe("M", "film_kg_per_m2", 0.02)
    model.start(20.0, 50.0)
    assert model.probe_state("M")["film_kg_per_m2"] == pytest.approx(0.02, rel=0.01)


def test_what_cannot_be_set_is_refused_with_what_could():
    model = chamber(air("M", "rh", "capacitive"), air("T"))
    with pytest.raises(KeyError, match=r"X is no probe; known: M, T"):
        model.probe_state("X")
    with pytest.raises(KeyError, match=r"colour is nothing that a probe has; known: film_kg_per_m2"):
        model.set_probe("M", "colour", 1.0)
    with pytest.raises(ValueError, match=r"probe M: a plain or capacitive probe has no wetted; give it kind wick"):
        model.set_probe("M", "wetted", 0.0)
    with pytest.raises(ValueError, match=r"probe T: a plain or plain probe"):
        model.set_probe("T", "drift", 1.0)
    with pytest.raises(ValueError, match=r"probe M film_kg_per_m2 2: must be from 0 to 1"):
        model.set_probe("M", "film_kg_per_m2", 2.0)


@pytest.mark.parametrize(
    ("probe", "said"),
    [
        (air("X", "rh", "pt100"), "probe[0].sees (X) = rh: a pt100 probe sees air, board"),
        (air("X", "wet"), "probe[0].kind (X) = plain: nothing plain sees wet; make it a wick"),
        (air("X", "dew"), "probe[0].kind (X) = plain: nothing plain sees dew; make it warmed"),
        (air("X", wick=Wick(wetted=0.5)), "probe[0].wick (X) = (given): kind plain does not use it; take it"),
        (air("X", "rh", "capacitive", warmed=Warmed(warm_K=1.0)), "[0].warmed (X) = (given): kind capacitive does"),
        (Probe(tag="X", sees="supply", place=Place(jet_share=0.1)), "place (X) = (given): only what sees air, rh"),
        (air("X", place=Place(wall_share=0.7, radiant_share=0.6)), "radiant_share (X) = 1.3: at most 1; make one"),
        (air("X", card=Card(least_mA=4.0)), "least_mA (X) = 4: failure is at most 3.6 mA, and this card"),
        (
            air("X", card=Card(most_mA=20.5), transmitter=Transmitter(fails="high")),
            "card.most_mA (X) = 20.5: failure is at least 21.0 mA, and this card does not see it; raise it",
        ),
    ],
)
def test_contradictions_are_refused_in_words(probe, said):
    with pytest.raises(ValueError) as error:
        chamber(probe)
    assert said in str(error.value)


def test_all_contradictions_are_told_at_once():
    with pytest.raises(ValueError, match=r"\(X\).*\n.*\(Y\)"):
        chamber(air("X", "wet"), air("Y", "dew"))


def test_a_probe_outside_the_chamber_is_refused():
    with pytest.raises(ValueError, match="probe X: bay 7 level 5 is outside 6 bays x 12 levels"):
        chamber(Probe(tag="X", sees="dew", kind="warmed", bay=7, level=5))
