"""Cells along the depth: as one cell where nothing differs along it, colder at the doors, named and placed in words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from plantsim.chamber import OUTPUTS, Chamber
from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.pack.common import MisfitError
from plantsim.params import Frames, Hall, PlantParams, Probe, Room
from plantsim.truth import COLUMN
from plantsim.weather import Weather

BUSY = {"fan_run": 1.0, "fan_pct": 75.0, "heat_run": 1.0, "valve_pct": 60.0, "vent_pct": 30.0, "frame_heat": 1.0}


def lived(params: PlantParams, seconds: int, door: int = 0) -> Chamber:
    model = Chamber(params, charge=Charge(mix_degC=25.0), weather=Weather.constant(-5.0, 80.0), seed=1)
    if door:
        model.set_door(door, True)
    wanted = tuple(BUSY.get(name, 0.0) for name in OUTPUTS)
    for _ in range(seconds):
        model.step(wanted)
    return model


@pytest.mark.parametrize("depth", [2, 3])
def test_means_are_those_of_one_cell_of_depth(depth: int) -> None:
    """Envelope, product and air add up to the same chamber however its depth is cut."""
    one, cut = (lived(PlantParams(room=replace(Room(), depth_cells=d)), 1800) for d in (1, depth))
    for table, row in (("cell", at.C_PRODUCT_M2), ("cell", at.C_BOARD_M2), ("cell", at.C_LEAK), ("wall", at.L_M2)):
        totals = [float(getattr(model.constants, table)[row].sum()) for model in (one, cut)]
        assert totals[1] == pytest.approx(totals[0], rel=1e-5)
    assert cut.state.air[at.AIR_T].mean() == pytest.approx(one.state.air[at.AIR_T].mean(), abs=0.02)
    assert one.truth_row[COLUMN["front_to_back_K"]] == 0.0
    assert 0.0 < cut.truth_row[COLUMN["front_to_back_K"]] < 1.0


def test_an_open_door_cools_the_front_of_its_bay_first() -> None:
    model = lived(PlantParams(room=replace(Room(), depth_cells=3)), 60, door=4)
    T = model.state.air[at.AIR_T].reshape(6, 3, 12).mean(axis=2)
    assert T[3, 0] < T[3, 1] < T[3, 2]
    assert T.argmin() == 3 * 3
    assert abs(model.books.energy_closure) < 1e-11


def test_a_probe_hangs_in_the_middle_unless_told() -> None:
    hung = tuple(Probe(tag=f"T{d}", sees="air", bay=2, level=3, depth=d) for d in (0, 1, 2, 3))
    model = lived(PlantParams(room=replace(Room(), depth_cells=3), probe=hung), 120, door=2)
    middle, *seen = model.state.values.tolist()
    assert seen == model.state.air[at.AIR_T].reshape(6, 3, 12)[1, :, 2].tolist()
    assert middle == seen[1]
    with pytest.raises(MisfitError, match="probe T3 depth = 3: this chamber has 1 cells"):
        lived(PlantParams(probe=hung[3:]), 0)


def test_only_bays_with_a_door_have_a_frame_and_each_its_own_heating() -> None:
    params = PlantParams(hall=Hall(doors=(1, 4)), frames=Frames(bay_heating_W=(100.0, 9.0, 9.0, 50.0, 9.0, 9.0)))
    model = lived(params, 600)
    assert model.books.frame_heat_kWh == pytest.approx(150.0 * 600.0 / 3.6e6)
    assert np.flatnonzero(model.constants.wall[at.L_M2, 72:]).tolist() == [0, 3]
    assert abs(model.books.energy_closure) < 1e-11
    with pytest.raises(ValueError, match="only bays"):
        model.set_door(2, True)
    with pytest.raises(MisfitError, match=r"hall\.doors = 7"):
        lived(PlantParams(hall=Hall(doors=(7,))), 0)
