"""A standing climate judged in truth: which cells count, how soon a bay recovers, how wet newcomers get."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from controller.cli.main import main
from controller.config.bundle import load_site
from controller.config.rules import verdict_rules
from controller.link.device import Device
from controller.link.layout import require_layout
from controller.rig import filling as files
from controller.rig.plant import Plant, build, scene
from controller.rig.standing import standing
from controller.rig.standing.watch import LEFT_OUT_S, Opening, Watch
from plantsim.filling import Batch
from plantsim.kernel import layout as at
from plantsim.schedule import Press, Trips, continuous

IDLE = (1.0, 75.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)  # the fan and nothing else
RESULT: Any = SimpleNamespace(state=SimpleNamespace(sequence=SimpleNamespace(phase=0)))


@pytest.fixture
def plant() -> Plant:
    """A chamber with 120 t of old product, all of it at 32 degC, in a hall of 18 degC."""
    site = load_site("demo-north", device_class=Device, layout=require_layout)
    return build(scene(mix_degC=32.0, outdoor=((32.0, 60.0),), dt_s=2.0), site.points, site.devices, lockstep=True)


@pytest.fixture
def live(plant: Plant) -> Callable[[Watch, float], None]:
    """Let time pass for the chamber, looked at as after every scan."""

    def pass_(watch: Watch, seconds: float) -> None:
        for _ in range(round(seconds / plant.chamber.dt_s)):
            plant.log.step(IDLE)
            watch.look(plant, RESULT)

    return pass_


def watching(plant: Plant, settle_s: float = 8.0 * 3600.0) -> Watch:
    return Watch(plant, 32.0, settle_s, frozenset({0}))


def found(watch: Watch, plant: Plant) -> dict[str, Any]:
    rows = plant.log.known()
    return standing.block(watch, rows, plant.chamber.dt_s, (0, len(rows)))


def test_a_bay_whose_door_was_open_is_left_out_until_a_quarter_of_an_hour_later(
    plant: Plant, live: Callable[[Watch, float], None]
) -> None:
    watch = watching(plant)
    plant.chamber.set_door(2, True)
    live(watch, 60.0)
    air = plant.chamber.state.air[at.AIR_T].reshape(6, 12)
    assert air[1].max() < 31.0
    assert watch.seen.coldest is not None
    assert watch.seen.coldest.bay != 2
    plant.chamber.set_door(2, False)
    live(watch, LEFT_OUT_S - 20.0)
    assert watch.seen.left_out == pytest.approx(watch.seen.samples / 6.0)
    live(watch, 60.0)
    assert watch.seen.left_out < watch.seen.samples / 6.0


def test_recovery_counts_from_shutting_to_the_last_cell_that_was_off(
    plant: Plant, live: Callable[[Watch, float], None]
) -> None:
    """Its own count, every two seconds, against that of the watch, every ten."""
    watch = watching(plant)
    plant.chamber.set_door(5, True)
    live(watch, 40.0)
    for level in range(1, 5):
        plant.chamber.take(5, level)
        plant.chamber.place(5, level, Batch(1.7, 26.0))
    plant.chamber.set_door(5, False)
    shut_s, off_s = plant.chamber.time_s, 0.0
    for _ in range(1000):
        live(watch, 2.0)
        cells = plant.chamber.state.air[at.AIR_T].reshape(6, 12)[4]
        if np.abs(cells - 32.0).max() > 1.0 and plant.chamber.time_s - shut_s <= LEFT_OUT_S:
            off_s = plant.chamber.time_s - shut_s
    doors = found(watch, plant)["doors"]
    assert (doors["opened"], doors["judged"], doors["opened_again"]) == (1, 1, 0)
    assert doors["open_s_mean"] == 40.0
    assert off_s > 20.0
    assert doors["recovery_min_max"] == pytest.approx(off_s / 60.0, abs=0.25)


def test_a_door_opened_again_too_soon_is_not_judged_and_a_bay_that_stays_cold_is_late(
    plant: Plant, live: Callable[[Watch, float], None]
) -> None:
    watch = watching(plant)
    for open_ in (True, False, True, False):
        plant.chamber.set_door(1, open_)
        live(watch, 120.0)
    doors = found(watch, plant)["doors"]
    assert (doors["opened"], doors["judged"], doors["opened_again"]) == (2, 0, 1)
    cold = Opening(1, 0.0, 60.0, 60.0 + LEFT_OUT_S, 30.0, over=True)
    assert standing.recovery_min(cold) is None
    assert standing.recovery_min(Opening(1, 0.0, 60.0, 240.0, 30.0, over=True)) == 3.0


def test_a_cell_that_is_off_is_counted_named_and_in_the_extremes(
    plant: Plant, live: Callable[[Watch, float], None]
) -> None:
    watch = watching(plant)
    live(watch, 60.0)
    live(watch, 8.0)
    before = found(watch, plant)["settled_air"]
    assert before["off_K_max"] < 1.0
    assert before["outside_pct"] == 0.0
    plant.chamber.state.air[at.AIR_H, 2 * 12 + 6] -= 15000.0 * 734.0 / 72.0  # about 15 K, for a moment
    live(watch, 2.0)
    air = found(watch, plant)["settled_air"]
    assert air["off_K_max"] > 1.0
    assert air["outside_pct"] > 0.0
    assert (air["coldest"]["bay"], air["coldest"]["level"]) == (3, 7)


def test_a_newcomer_is_known_with_its_wetting_and_what_stood_there_leaves(
    plant: Plant, live: Callable[[Watch, float], None]
) -> None:
    watch = watching(plant, settle_s=600.0)
    live(watch, 120.0)
    plant.chamber.take(3, 1)
    plant.chamber.place(3, 1, Batch(1.5, 12.0))
    live(watch, 660.0)
    wetted = float(plant.chamber.positions().gained_kg_per_m2[2, 0])
    live(watch, 600.0)
    block = found(watch, plant)
    assert block["newcomers"]["count"] == 1
    assert block["newcomers"]["wetted_kg_per_m2"]["max"] == pytest.approx(wetted, abs=1e-4) != 0.0
    assert block["turnover"]["in_t"] == 1.5
    assert block["turnover"]["out_t"] == pytest.approx(120.0 / 72.0, abs=0.01)
    gone, came = (one for one in block["stays"] if (one["bay"], one["level"]) == (3, 1))
    assert gone["out_h"] == pytest.approx(120.0 / 3600.0, abs=0.001)
    assert came["in_degC"] == pytest.approx(12.0, abs=0.5)
    assert came["out_h"] is None


def test_a_short_standing_climate_ends_by_itself_and_tells_its_own_table(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An hour and a half with one trip of two places: it is ended as a person would, and judged as what it is."""
    trips = Trips(positions=2, door_s=40.0)
    press = Press(degC=30.0)
    made = continuous(6, 12, days=1, shift=(6.0, 6.5), clock_h=5.8, positions_a_day=2, press=press, trips=trips)
    (tmp_path / "f.csv").write_text(files.text(made))
    asked = ["cycle", "--recipe", "standing", "--filling", str(tmp_path / "f.csv"), "--hours", "1.5", "--scan", "2"]
    code = main([*asked, "--mix-temperature", "32", "--link", "direct", "--outdoor", "8/80", "--out", str(tmp_path)])
    said = capsys.readouterr().out
    summary = json.loads((tmp_path / "summary.json").read_text())
    assert code == 1
    assert summary["finished"]
    assert "hold lasted 1.5 h < 4 h" in summary["reasons"]
    block = summary["standing"]
    assert block["doors"]["judged"] == 1
    assert block["newcomers"]["count"] == 2
    assert len([one for one in block["stays"] if one["out_h"] is not None]) == 2
    assert "settled air, furthest cell" in said
    assert "kWh/t" in said


def test_how_far_and_how_late_is_what_the_verdict_says(
    plant: Plant, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same door, by the shipped rules and by others: nothing here has limits of its own."""
    stricter = replace(verdict_rules(), settled_off_K_max=0.3, door_recovery_min_max=0.2)
    shipped = watching(plant)
    monkeypatch.setattr("controller.rig.standing.watch.verdict_rules", lambda: stricter)
    strict = watching(plant)
    assert (shipped.off_K, strict.off_K) == (1.0, 0.3)
    plant.chamber.set_door(5, True)
    for _ in range(20):
        plant.log.step(IDLE)
        for one in (shipped, strict):
            one.look(plant, RESULT)
    plant.chamber.set_door(5, False)
    for _ in range(round((LEFT_OUT_S + 60.0) / plant.chamber.dt_s)):
        plant.log.step(IDLE)
        for one in (shipped, strict):
            one.look(plant, RESULT)
    limits = found(shipped, plant)["limits"]
    monkeypatch.setattr(standing, "verdict_rules", lambda: stricter)
    strictly = found(strict, plant)
    assert (limits, strictly["limits"]) == ({"off_K": 1.0, "recovery_min": 10.0}, {"off_K": 0.3, "recovery_min": 0.2})
    assert strictly["doors"]["late"] == 1
    assert found(shipped, plant)["doors"]["recovery_min_max"] < (strictly["doors"]["recovery_min_max"] or 99.0)
