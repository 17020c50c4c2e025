"""Hand switches and isolators of the simulated panel: they act, and the hard-wired chains act on them."""

from __future__ import annotations

import pytest

from plantsim.chamber import OUTPUTS, Chamber
from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.params import Electric, Gas, PlantParams, PumpedFog, Steam, SteamFog
from plantsim.weather import Weather

NOTHING = (0.0,) * len(OUTPUTS)
RUNNING = tuple(
    {"fan_run": 1.0, "fan_pct": 75.0, "heat_run": 1.0, "valve_pct": 80.0, "fog_a": 1.0, "fog_b": 1.0}.get(name, 0.0)
    for name in OUTPUTS
)


def chamber(**given) -> Chamber:
    return Chamber(PlantParams(**given), charge=Charge(), weather=Weather.constant(8.0, 80.0), seed=1)


def live(model: Chamber, seconds: int, wanted: tuple[float, ...] = NOTHING):
    for _ in range(seconds):
        model.step(wanted)
    return model.state.gear


def test_in_hand_drives_run_whatever_the_outputs_say() -> None:
    model = chamber()
    for name, value in (("fan", 50.0), ("heat", 40.0), ("fog", 100.0)):
        model.set_hand(name, value)
    gear = live(model, 120)
    assert gear[at.G_SPEED] == pytest.approx(50.0, abs=0.1)
    assert gear[at.G_VALVE] == 40.0
    assert gear[at.G_COIL_W] > 1e3
    assert gear[at.G_FOG_KG_H] == 60.0
    assert [model.contacts[f"{name}_auto"] for name in ("fan", "heat", "fog")] == [False] * 3


def test_switched_off_drives_stand_whatever_the_outputs_say() -> None:
    model = chamber()
    live(model, 120, RUNNING)
    for name in ("fan", "heat", "fog"):
        model.set_hand(name, 0.0)
    gear = live(model, 400, RUNNING)
    assert (gear[at.G_SPEED], gear[at.G_VALVE], gear[at.G_FOG_KG_H]) == (0.0, 0.0, 0.0)
    assert gear[at.G_COIL_W] < 10.0  # what is left of its lag


def test_back_in_automatic_outputs_count_again() -> None:
    model = chamber()
    model.set_hand("fan", 0.0)
    live(model, 60, RUNNING)
    model.set_hand("fan", None)
    assert live(model, 120, RUNNING)[at.G_SPEED] == pytest.approx(75.0, abs=0.1)
    assert model.contacts["fan_auto"]


@pytest.mark.parametrize(
    ("heat", "watts"), [(Electric(), 30e3), (Gas(), 0.5 * 60e3 / 0.9), (Steam(), pytest.approx(8.86e3, rel=0.01))]
)
def test_every_kind_of_heater_has_a_hand_value(heat, watts) -> None:
    """Half of the elements, half fire, a half open steam valve."""
    model = chamber(heat=heat)
    model.set_hand("fan", 75.0)
    model.set_hand("heat", 50.0)
    assert live(model, 120)[at.G_INPUT_W] == watts


def test_the_fog_pump_and_the_humidifier_have_one_too() -> None:
    for fog, kg_per_h in ((PumpedFog(), 36.0), (SteamFog(lag_s=5.0), 36.0)):
        model = chamber(fog=fog)
        model.set_hand("fog", 60.0)
        assert live(model, 120)[at.G_FOG_KG_H] == pytest.approx(kg_per_h, rel=1e-6)


@pytest.mark.parametrize("condition", ["estop_healthy", "mains"])
def test_emergency_stop_and_mains_act_on_drives_in_hand(condition: str) -> None:
    model = chamber()
    for name in ("fan", "heat", "fog"):
        model.set_hand(name, 80.0)
    live(model, 120)
    model.set_condition(condition, False)
    gear = live(model, 600)
    assert (gear[at.G_SPEED], gear[at.G_COIL_W], gear[at.G_FOG_KG_H]) == (0.0, 0.0, 0.0)


def test_the_limiter_cuts_heat_in_hand() -> None:
    model = chamber(heat=Electric())
    model.set_hand("heat", 100.0)  # and no fan
    gear = live(model, 300)
    assert not model.contacts["limiter_healthy"]
    assert gear[at.G_INPUT_W] == 0.0


def test_an_open_isolator_beats_hand_and_automatic() -> None:
    model = chamber()
    model.set_hand("fan", 60.0)
    live(model, 60)
    model.set_condition("fan_isolator", False)
    assert live(model, 120)[at.G_SPEED] == 0.0
    model.set_hand("fan", None)
    assert live(model, 60, RUNNING)[at.G_SPEED] == 0.0
    model.set_condition("fan_isolator", True)
    assert live(model, 60, RUNNING)[at.G_SPEED] > 70.0


def test_a_contact_that_only_shows_changes_no_drive() -> None:
    """A switch's contact may fail by itself."""
    model = chamber()
    live(model, 60, RUNNING)
    model.set_condition("fan_auto", False)
    assert live(model, 60, RUNNING)[at.G_SPEED] == pytest.approx(75.0, abs=0.1)


def test_wrong_switches_and_values_are_refused() -> None:
    model = chamber()
    with pytest.raises(KeyError, match="vent has no switch"):
        model.set_hand("vent", 10.0)
    with pytest.raises(ValueError, match="from 0 to 100"):
        model.set_hand("fan", 120.0)
    with pytest.raises(ValueError, match="from 0 to 100"):
        model.set_hand("fan", float("nan"))
