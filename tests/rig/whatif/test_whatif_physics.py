"""Every shipped what-if moves the chamber model the way that physics says, against the same run without it.

Goal: a case does what its words say. Method: the chamber model alone, same outputs, same weather; where heat is asked
for, a plain thermostat in the test holds the air. Success: the sign of the difference, and where the model has a closed
form also its size.
"""

from __future__ import annotations

import numpy as np
import pytest

from controller.config.find import find, known
from controller.config.loader import load
from controller.rig.plant import Scene, scene
from controller.rig.whatif.apply import applied
from controller.rig.whatif.casefile import case_of, read
from plantsim.chamber import Chamber
from plantsim.faults import Faulted
from plantsim.params import PlantParams
from plantsim.truth import COLUMN

DT_S = 2.0
Outputs = tuple[float, ...]
FAN = (1.0, 75.0)
IDLE: Outputs = (*FAN, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
VENTING: Outputs = (*FAN, 0.0, 0.0, 100.0, 0.0, 0.0, 0.0)
FOGGING: Outputs = (*FAN, 0.0, 0.0, 0.0, 1.0, 1.0, 0.0)
CLOSED_FORM = pytest.mark.outside("recomputed: the closed form stands beside the value")


class Run:
    """A chamber that lived some hours. rows: its truth, a row a minute."""

    def __init__(self, *asked: str, hours: float, outputs: Outputs | float, load_t: float = 120.0) -> None:
        """outputs: constant, or the air temperature that a thermostat on the heating valve holds, degC."""
        self.scene = applied(scene(tonnes=load_t, dt_s=DT_S), list(asked))
        self.chamber = chamber_of(self.scene)
        subject = Faulted(self.chamber, self.scene.faults) if self.scene.faults else self.chamber
        rows = []
        for step in range(round(hours * 3600.0 / DT_S)):
            subject.step(outputs if isinstance(outputs, tuple) else self._thermostat(outputs))
            if step % 30 == 29:
                rows.append(self.chamber.truth_row)
        self.rows = np.array(rows)

    def mean(self, name: str) -> float:
        return float(self.rows[:, COLUMN[name]].mean())

    def end(self, name: str) -> float:
        return float(self.rows[-1, COLUMN[name]])

    def _thermostat(self, degC: float) -> Outputs:
        air = self.chamber.truth_row[COLUMN["air_mean_degC"]]
        return (*FAN, 1.0, min(100.0, max(0.0, 30.0 * (degC - air))), 0.0, 0.0, 0.0, 0.0)


def chamber_of(one: Scene) -> Chamber:
    params = one.params or load(find("plant", one.plant), PlantParams)
    return Chamber(params, charge=one.at_start, weather=one.weather, seed=1, dt_s=one.dt_s, filling=one.filling)


@pytest.fixture(scope="module")
def held() -> Run:
    return Run(hours=6.0, outputs=32.0, load_t=0.0)


@pytest.mark.parametrize("case", ["insulation-wet", "seals-leaking", "colder-weather"])
def test_a_chamber_that_loses_more_needs_more_heat_for_the_same_air(held: Run, case: str) -> None:
    worse, worst = (Run(one, hours=6.0, outputs=32.0, load_t=0.0) for one in (case, f"{case}={most(case):g}"))
    assert worse.mean("heat_kW") > 1.05 * held.mean("heat_kW")
    assert worst.mean("heat_kW") > worse.mean("heat_kW")
    assert worse.mean("air_mean_degC") == pytest.approx(held.mean("air_mean_degC"), abs=1.0)


@CLOSED_FORM
@pytest.mark.parametrize(("case", "power"), [("filter-clogged", 2), ("belt-slipping", 1)])
def test_a_hindered_fan_moves_less_and_takes_more_for_what_it_moves(case: str, power: int) -> None:
    """Flow goes with the amount; power at the same flow with 1 / amount**power, so at the same speed with the rest."""
    usual, hindered = Run(hours=0.1, outputs=IDLE), Run(f"{case}=0.7", hours=0.1, outputs=IDLE)
    assert hindered.end("flow_kg_per_s") == pytest.approx(0.7 * usual.end("flow_kg_per_s"))
    assert hindered.end("fan_kW") == pytest.approx(0.7 ** (3 - power) * usual.end("fan_kW"))
    still = Run(f"{case}=0.3", hours=2.0, outputs=30.0)
    assert still.mean("product_spread_K") > Run(hours=2.0, outputs=30.0).mean("product_spread_K")


@CLOSED_FORM
@pytest.mark.parametrize(("case", "water"), [("nozzles-clogged=0.5", 0.5), ("nozzles-worn=1.4", 1.4**2)])
def test_nozzles_that_are_not_as_new_give_other_water_and_wet_more_of_what_is_below(case: str, water: float) -> None:
    """In air that is dry enough: where it is near saturation less water evaporates better, whatever its droplets."""
    fog: Outputs = (*FAN, 1.0, 100.0, 100.0, 1.0, 0.0, 0.0)
    usual, aged = Run(hours=0.5, outputs=fog), Run(case, hours=0.5, outputs=fog)
    assert aged.end("fog_kg_per_h") == pytest.approx(water * usual.end("fog_kg_per_h"))
    assert aged.end("evaporated_share") < usual.end("evaporated_share")


def test_a_leaking_valve_heats_unasked_and_a_worn_one_does_not_when_asked_for_little() -> None:
    shut: Outputs = (*FAN, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    little: Outputs = (*FAN, 1.0, 3.0, 0.0, 0.0, 0.0, 0.0)
    assert Run(hours=0.5, outputs=shut).end("heat_kW") == 0.0
    assert Run("valve-leaking", hours=0.5, outputs=shut).end("heat_kW") > 1.0
    assert Run("valve-leaking=0.3", hours=0.5, outputs=shut).end("heat_kW") > 2.0
    assert Run(hours=0.5, outputs=little).end("heat_kW") > 0.1
    assert Run("valve-worn", hours=0.5, outputs=little).end("heat_kW") == 0.0


def test_without_exhaust_a_summer_day_is_warmer_and_wetter() -> None:
    failed, healthy = (Run(f"vent-failed-summer={share}", hours=20.0, outputs=VENTING) for share in (0, 1))
    assert failed.end("vent_kg_per_s") == 0.0
    assert failed.end("core_max_degC") > healthy.end("core_max_degC") + 3.0
    assert failed.end("condensed_board_kg") > healthy.end("condensed_board_kg")
    assert failed.mean("air_mean_degC") > healthy.mean("air_mean_degC")


def test_less_product_gives_less_warmth() -> None:
    full, part = Run(hours=20.0, outputs=IDLE), Run("load-partial", hours=20.0, outputs=IDLE)
    assert part.end("tonnes_inside") == pytest.approx(0.33 * 120.0)
    assert part.mean("hydration_kW") < 0.4 * full.mean("hydration_kW")
    assert part.end("air_mean_degC") < full.end("air_mean_degC")


def test_an_empty_bay_holds_nothing_and_the_others_what_they_held() -> None:
    found = Run("bay-empty=2", hours=0.1, outputs=IDLE).chamber.positions().tonnes
    assert found[1].sum() == 0.0
    assert np.delete(found, 1, axis=0) == pytest.approx(120.0 / 72.0)


def test_an_overfilled_bay_holds_more_gets_less_air_and_parts_from_the_others() -> None:
    usual, full = Run(hours=8.0, outputs=IDLE), Run("racks-overfilled=1.25", hours=8.0, outputs=IDLE)
    tonnes = full.chamber.positions().tonnes
    assert tonnes[1] == pytest.approx(1.25 * tonnes[0])
    share = full.chamber.constants.share
    assert share.reshape(6, -1)[1].sum() == pytest.approx(share.reshape(6, -1)[0].sum() / 1.25**2)
    assert full.end("product_spread_K") > usual.end("product_spread_K")


def test_mixes_keep_their_own_temperature_and_heat() -> None:
    one, several = Run(hours=0.1, outputs=IDLE), Run("mixes-several", hours=0.1, outputs=IDLE)
    assert several.end("core_max_degC") - several.end("core_min_degC") == pytest.approx(8.0, abs=0.5)
    assert one.end("core_max_degC") - one.end("core_min_degC") < 0.5
    mixes = several.chamber.positions().mix
    assert [set(mixes[bay]) for bay in (0, 2, 5)] == [{"quick"}, {""}, {"lean"}]
    assert several.scene.charge.tonnes == pytest.approx(120.0, abs=0.01)
    assert several.scene.charge.mix_degC == pytest.approx(20.0), "the controller is told the mean"


def test_the_wetter_the_surface_the_faster_it_dries() -> None:
    dried = [Run(f"wetted-fraction={share}", hours=2.0, outputs=VENTING).mean("drying_kg_per_m2h")
             for share in (0.05, 0.3, 1.0)]  # fmt: skip
    assert dried == sorted(dried)
    assert dried[2] > 1.5 * dried[0]


@pytest.mark.parametrize("name", known("whatif"))
def test_at_both_ends_of_its_amount_a_case_gives_a_chamber_that_lives_and_keeps_its_books(name: str) -> None:
    entry = read(find("whatif", name)).value.amount
    for amount in (entry.lo, entry.hi) if entry else ():
        if name == "bay-empty" and amount > 6:
            continue  # the demo chamber has six
        run = Run(f"{name}={amount:g}", hours=1.0, outputs=FOGGING)
        assert np.isfinite(run.rows).all()
        books = run.chamber.books
        assert max(abs(books.energy_closure), abs(books.water_closure)) < 1e-9


MULTIPLYING = [
    name
    for name in known("whatif")
    if (changes := read(find("whatif", name)).value.change) and all(one.how == "times" for one in changes)
    and all(one.by is None for one in changes)
]  # fmt: skip


@pytest.mark.parametrize("name", MULTIPLYING)
def test_one_times_what_was_leaves_the_chamber_as_it_was_to_the_bit(name: str) -> None:
    plain, same = Run(hours=0.2, outputs=FOGGING), Run(f"{name}=1", hours=0.2, outputs=FOGGING)
    assert same.rows.tobytes() == plain.rows.tobytes()


def most(name: str) -> float:
    """The worst amount of a case, where the worst is the highest."""
    entry = case_of(name).case.amount
    assert entry is not None
    return entry.hi
