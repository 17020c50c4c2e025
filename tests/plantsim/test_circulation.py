"""The way of the fan's air: outlets at every bay and level, down, up and across, and what a wrong one does."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Literal

import numpy as np
import pytest
from numpy.typing import NDArray

from plantsim.chamber import OUTPUTS, Chamber
from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.pack.common import MisfitError
from plantsim.params import Air, Fan, PlantParams, Room
from plantsim.weather import Weather

Pattern = Literal["down", "up", "across"]
PATTERNS = pytest.mark.parametrize("pattern", ["down", "up", "across"])
DEPTHS = pytest.mark.parametrize("depth", [1, 2, 3])
COLD = Weather.constant(-5.0, 80.0)
BAYS, LEVELS = 6, 12


def outputs(**given: float) -> tuple[float, ...]:
    assert set(given) <= set(OUTPUTS)
    return tuple(given.get(name, 0.0) for name in OUTPUTS)


def some_outlets(seed: int = 1) -> tuple[tuple[float, ...], ...]:
    """Openings at random, some of them shut, one bay shut altogether."""
    drawn = np.random.default_rng(seed).uniform(-0.3, 1.0, (BAYS, LEVELS)).clip(0.0)
    drawn[4] = 0.0
    return tuple(tuple(float(x) for x in bay) for bay in drawn)


def chamber(depth: int = 1, weather: Weather = COLD, dt_s: float = 1.0, mix_degC: float = 20.0, **fan: Any) -> Chamber:
    params = PlantParams(room=replace(Room(), depth_cells=depth), fan=replace(Fan(), **fan))
    return Chamber(params, charge=Charge(mix_degC=mix_degC), weather=weather, seed=1, dt_s=dt_s)


def live(model: Chamber, seconds: float, wanted: tuple[float, ...]) -> Chamber:
    for _ in range(round(seconds / model.dt_s)):
        model.step(wanted)
    return model


def flows(model: Chamber) -> NDArray[np.float64]:
    """Flow matrix: what goes from row to column, in shares of the fan's flow; the plenum stands last."""
    cell = model.constants.cell
    n = cell.shape[1]
    matrix = np.zeros((n + 1, n + 1))
    matrix[n, :n] = cell[at.C_SUPPLY]
    matrix[:n, n] = cell[at.C_RETURN]
    for i, before in enumerate(cell[at.C_BEFORE].astype(int)):
        if before >= 0:
            matrix[before, i] = cell[at.C_PASS, before]
    return matrix


@PATTERNS
@DEPTHS
@pytest.mark.parametrize("given", [(), some_outlets()], ids=["usual outlets", "any outlets"])
def test_as_much_leaves_every_cell_as_enters_it(pattern: Pattern, depth: int, given: tuple[Any, ...]) -> None:
    model = chamber(depth, pattern=pattern, outlet=given)
    matrix = flows(model)
    np.testing.assert_allclose(matrix.sum(axis=0), matrix.sum(axis=1), atol=1e-15)
    assert matrix.min() >= 0.0
    assert matrix[-1].sum() == pytest.approx(1.0, abs=1e-12)
    assert matrix[:-1].sum(axis=1) == pytest.approx(model.constants.cell[at.C_PASS], abs=1e-15)


@PATTERNS
@DEPTHS
def test_air_returns_where_the_pattern_says(pattern: Pattern, depth: int) -> None:
    cell = chamber(depth, pattern=pattern).constants.cell
    supply, back = (cell[row].reshape(BAYS, depth, LEVELS) for row in (at.C_SUPPLY, at.C_RETURN))
    ends = {"down": (np.s_[:, :, -1], np.s_[:, :, 0]), "up": (np.s_[:, :, 0], np.s_[:, :, -1]),
            "across": (np.s_[:, -1, :], np.s_[:, 0, :])}[pattern]  # fmt: skip
    for table, where in ((supply, ends[0]), (back, ends[1])):
        assert table[where].sum() == pytest.approx(1.0, abs=1e-12)
        assert np.ptp(table[where]) < 1e-15, "usual outlets let out alike"


def test_saying_the_usual_outlets_changes_nothing_but_rounding() -> None:
    """The plain way down and the general one are two pieces of code for the same thing."""
    wanted = outputs(fan_run=1, fan_pct=75, heat_run=1, valve_pct=60, vent_pct=40, fog_a=1)
    top = tuple((0.0,) * (LEVELS - 1) + (1.0,) for _ in range(BAYS))
    plain, said = (live(chamber(outlet=given), 3600.0, wanted) for given in ((), top))
    assert plain.constants.k[at.K_THROUGH] == 0.0
    assert said.constants.k[at.K_THROUGH] == 1.0
    np.testing.assert_allclose(said.state.air, plain.state.air, rtol=1e-9, atol=1e-9)


def test_bay_share_is_a_short_way_of_saying_outlets() -> None:
    share = (1.0, 2.0, 1.0, 1.0, 0.5, 1.0)
    top = tuple((0.0,) * (LEVELS - 1) + (x,) for x in share)
    wanted = outputs(fan_run=1, fan_pct=75, heat_run=1, valve_pct=60)
    short, said = (live(chamber(**fan), 1800.0, wanted) for fan in ({"bay_share": share}, {"outlet": top}))
    np.testing.assert_allclose(said.state.air, short.state.air, rtol=1e-9, atol=1e-9)


def test_an_overfull_bay_gets_the_same_little_air_by_either_way_of_saying_the_outlets() -> None:
    """The knob of a bay's air: half an hour with bay 2 nearly shut, then as long with it free again."""
    wanted = outputs(fan_run=1, fan_pct=75, heat_run=1, valve_pct=60)
    top = tuple((0.0,) * (LEVELS - 1) + (1.0,) for _ in range(BAYS))
    models = [chamber(outlet=given) for given in ((), top)]
    before = [model._const.copy() for model in models]
    for setting in (0.2, 1.0):
        for model in models:
            model.set_knob("bay_air_2", setting)
            live(model, 1800.0, wanted)
        plain, said = models
        np.testing.assert_allclose(said.state.air, plain.state.air, rtol=1e-9, atol=1e-9)
        if setting < 1.0:
            assert spread_between_bays_K(said) > 0.1
    assert all((model._const == const).all() for model, const in zip(models, before, strict=True))


@PATTERNS
@DEPTHS
def test_an_overfull_bay_passes_less_on_every_way_and_the_others_more(pattern: Pattern, depth: int) -> None:
    """As much leaves every cell as enters it, and the fan gives as much as before."""
    model = chamber(depth, pattern=pattern, outlet=some_outlets())
    full = model.constants.cell[at.C_SUPPLY].reshape(BAYS, -1).sum(axis=1)
    model.set_knob("bay_air_3", 0.25)
    cell = model.constants.cell
    left = cell[at.C_SUPPLY].reshape(BAYS, -1).sum(axis=1)
    assert left.sum() == pytest.approx(1.0, abs=1e-12)
    kept = 1.0 - 0.75 * full[2]
    assert left[2] == pytest.approx(0.25 * full[2] / kept)
    assert np.delete(left, 2) == pytest.approx(np.delete(full, 2) / kept)
    assert cell[at.C_LAND].sum() == pytest.approx(1.0, abs=1e-12)
    assert cell[at.C_RETURN].sum() == pytest.approx(1.0, abs=1e-12)
    assert model.constants.k[at.K_PASS_MAX] == cell[at.C_PASS].max()
    live(model, 1800.0, outputs(fan_run=1, fan_pct=100, heat_run=1, valve_pct=70, fog_a=1))
    assert abs(model.books.energy_closure) < 1e-9
    assert abs(model.books.water_closure) < 1e-9


@PATTERNS
@DEPTHS
def test_books_close_whatever_the_way(pattern: Pattern, depth: int) -> None:
    """Any outlets, everything on, a stop of the fan and an open door."""
    model = chamber(depth, pattern=pattern, outlet=some_outlets())
    busy = outputs(fan_run=1, fan_pct=100, heat_run=1, valve_pct=70, vent_pct=80, fog_a=1, fog_b=1, frame_heat=1)
    live(model, 2400.0, busy)
    model.set_door(2, True)
    live(model, 300.0, busy)
    live(model, 900.0, outputs(heat_run=1, valve_pct=50))
    books = model.books
    assert books.deposited_kg > 0.0
    assert abs(books.energy_closure) < 1e-11
    assert abs(books.water_closure) < 1e-11
    assert np.isfinite(model.state.air).all()


@PATTERNS
@pytest.mark.parametrize("dt_s", [1.0, 2.0])
def test_any_flow_is_stable(pattern: Pattern, dt_s: float) -> None:
    """Twenty times the usual air all through one outlet: much more than a cell's air in a step."""
    one = tuple(tuple(float((bay, level) == (2, 5)) for level in range(LEVELS)) for bay in range(BAYS))
    for given in (one, ()):
        fan = Fan(pattern=pattern, outlet=given, full_kg_per_s=240.0, rated_kg_per_s=240.0)
        # No more draught along the surfaces than usual: their step has a limit of its own.
        params = PlantParams(fan=fan, air=Air(speed_m_per_s_per_kg_per_s=0.01))
        model = Chamber(params, charge=Charge(), weather=COLD, seed=1, dt_s=dt_s)
        live(model, 1200.0, outputs(fan_run=1, fan_pct=100, heat_run=1, valve_pct=80, vent_pct=50, fog_a=1))
        T = model.state.air[at.AIR_T]
        assert 0.0 < T.min() <= T.max() < 60.0
        assert abs(model.books.energy_closure) < 1e-11


@PATTERNS
def test_mirrored_outlets_give_the_mirrored_chamber(pattern: Pattern) -> None:
    given = some_outlets()
    wanted = outputs(fan_run=1, fan_pct=75, heat_run=1, valve_pct=60, vent_pct=30, fog_a=1)
    one, other = (live(chamber(3, pattern=pattern, outlet=outlet), 1800.0, wanted) for outlet in (given, given[::-1]))
    T, mirrored = (model.state.air[at.AIR_T].reshape(BAYS, -1) for model in (one, other))
    assert np.abs(T[::-1] - mirrored).max() < 1e-9
    assert np.ptp(T[:, 0]) > 0.05


@pytest.mark.parametrize(("pattern", "first"), [("down", LEVELS - 1), ("up", 0)])
def test_warm_air_arrives_first_where_it_is_let_out(pattern: Pattern, first: int) -> None:
    model = live(chamber(pattern=pattern), 60.0, outputs(fan_run=1, fan_pct=75, heat_run=1, valve_pct=100))
    T = model.state.air[at.AIR_T].reshape(BAYS, LEVELS).mean(axis=0)
    assert int(T.argmax()) == first
    # What lands of the spray lands from the outlets downwards.
    land = model.constants.cell[at.C_LAND].reshape(BAYS, LEVELS).sum(axis=0)
    assert int(land.argmax()) == first
    assert land.sum() == pytest.approx(1.0)


def spread_between_bays_K(model: Chamber) -> float:
    T = model.state.air[at.AIR_T].reshape(BAYS, -1).mean(axis=1)
    return float(np.ptp(T))


@PATTERNS
def test_a_wrong_outlet_makes_a_hot_bay_and_the_right_one_evens_it(pattern: Pattern) -> None:
    """Goal of adjustable outlets: bay 3 gets three times its air while heating; set right, the chamber is even."""
    level = {"down": LEVELS - 1, "up": 0, "across": None}[pattern]
    opened = [[float(level is None or lev == level) for lev in range(LEVELS)] for _ in range(BAYS)]
    right = tuple(tuple(bay) for bay in opened)
    wrong = tuple(tuple(x * (3.0 if b == 2 else 1.0) for x in bay) for b, bay in enumerate(opened))
    spreads = []
    for given in (wrong, right):
        model = chamber(pattern=pattern, outlet=given, mix_degC=25.0)
        live(model, 3600.0, outputs(fan_run=1, fan_pct=75, heat_run=1, valve_pct=80))
        spreads.append(spread_between_bays_K(model))
        if given is wrong:
            assert int(model.state.air[at.AIR_T].reshape(BAYS, -1).mean(axis=1).argmax()) == 2
    assert spreads[0] > 0.3
    assert spreads[1] < 0.03


@pytest.mark.parametrize(
    ("fan", "said"),
    [
        ({"outlet": ((1.0,) * LEVELS,)}, "fan.outlet = lists of [12]: one list of 12 levels for each of 6 bays"),
        ({"outlet": ((0.0,) * LEVELS,) * BAYS}, "fan.outlet = all 0: at least one outlet is open"),
        ({"outlet": ((1.0,) * LEVELS,) * BAYS, "bay_share": (1.0,) * BAYS}, "fan.bay_share"),
        ({"bay_share": (1.0, 2.0)}, "fan.bay_share = [1.0, 2.0]: one entry for each of 6 bays"),
    ],
)
def test_outlets_that_do_not_suit_the_room_are_refused(fan: dict[str, Any], said: str) -> None:
    with pytest.raises(MisfitError) as raised:
        chamber(**fan)
    assert said in str(raised.value)
    assert raised.value.remedy
