"""What a served chamber model is said to be doing: figures from the model, pace from two clocks, words for people."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import inf

import numpy as np
import pytest

from controller.config.bundle import load_site
from controller.link.device import Device
from controller.link.layout import require_layout
from controller.rig.plant import Plant, build, scene
from controller.rig.served import board
from controller.rig.served.serve import listen
from controller.rig.served.watching import Seen, Watch
from plantsim.kernel.layout import AIR_T
from plantsim.server import Server
from plantsim.truth import COLUMN


class Clock:
    now = 100.0

    def __call__(self) -> float:
        return self.now


def plant_of(chamber: str, model: str) -> Plant:
    site = load_site(chamber, device_class=Device, layout=require_layout)
    return build(scene(plant=model, dt_s=2.0), site.points, site.devices, lockstep=True)


@pytest.fixture
def plant() -> Plant:
    return plant_of("demo-north", "demo-north")


@pytest.fixture
def server(plant: Plant) -> Iterator[Server]:
    found = listen(plant, "127.0.0.1", 0, 1.0)
    assert isinstance(found, Server)
    yield found
    found.stop()


def order(plant: Plant, heartbeat: int) -> None:
    """A block with a new heartbeat and every output as it is."""
    plant.device.write([heartbeat, 2000, *plant.device.words_out[2:]])


def test_a_look_tells_what_the_model_knows(plant: Plant, server: Server) -> None:
    watch, clock = Watch(plant, server, Clock()), Clock()
    assert watch.look().beat is None
    for heartbeat in range(1, 31):
        order(plant, heartbeat)
    seen = Watch(plant, server, clock).look()
    row = plant.chamber.truth_row
    assert seen.time_s == 60.0
    assert seen.true["air_mean_degC"] == row[COLUMN["air_mean_degC"]]
    levels = plant.chamber.state.air[AIR_T].reshape(6, 12)
    assert seen.top_degC == pytest.approx(levels[:, 11].mean())
    assert seen.bottom_degC == pytest.approx(levels[:, 0].mean())
    assert seen.board.startswith("board bay ")
    assert seen.orders["fan_pct"] == 50.0, "the safe value of the demo panel"
    wired = "fan_run fan_pct heat_run valve_pct vent_pct fog_a fog_b frame_heat"
    assert set(seen.orders) == set(wired.split())
    assert (seen.beat, seen.tripped, seen.watchdog_s, seen.peers) == (30, False, 10.0, ())


def test_pace_is_what_was_lived_over_real_time_and_a_heartbeat_ages_by_the_clock(plant: Plant, server: Server) -> None:
    clock = Clock()
    watch = Watch(plant, server, clock)
    assert watch.look().pace is None
    for heartbeat in range(1, 11):
        order(plant, heartbeat)
    clock.now += 4.0
    seen = watch.look()
    assert seen.pace == pytest.approx(5.0)
    assert seen.beat_s == 0.0
    clock.now += 3.0
    assert watch.look().beat_s == pytest.approx(3.0)
    clock.now += 20.0
    assert watch.look().pace == 0.0, "only the last ten seconds or so count"


def test_what_was_used_adds_up_over_the_steps(plant: Plant, server: Server) -> None:
    watch = Watch(plant, server)
    rows = np.zeros((900, len(COLUMN)))
    rows[:, COLUMN["heat_kW"]], rows[:, COLUMN["fog_kg_per_h"]] = 10.0, 4.0
    watch.add(rows)
    watch.add(rows)
    seen = watch.look()
    assert (seen.heat_kWh, seen.fan_kWh, seen.fog_kg) == pytest.approx((10.0, 0.0, 4.0))


@pytest.fixture(scope="module")
def seen() -> Seen:
    plant = plant_of("demo-north", "demo-north")
    return Watch(plant, listen_not(plant), Clock()).look()


def listen_not(plant: Plant) -> Server:
    """A server that was not started: a lock, and nobody connected."""
    return Server(plant.device)


def test_the_table_is_few_lines_that_fit_eighty_columns_and_says_that_it_is_simulated(seen: Seen) -> None:
    busy = replace(seen, beat=65535, beat_s=3.2, peers=("192.168.100.200:65535",), trips=3, time_s=999 * 3600.0)
    for one in (seen, busy):
        lines = board.lines("demo-north", one, 60.0)
        assert len(lines) <= 9
        assert max(map(len, lines)) < 100, "only names and numbers that are long go beyond 80 columns"
    lines = board.lines("demo-north", seen, 60.0)
    assert max(map(len, lines)) < 80
    assert "simulated" in lines[0]
    text = "\n".join(lines)
    said = ("top 20.00, bottom 20.00", "dew point", "board bay", "boards 0.0000", "fan on 50 %", "vent 0 %", "frames")
    for one in (*said, "0.0 kW heat", "kg fog", "nobody connected", "no heartbeat yet", "watchdog 10 s"):
        assert one in text
    assert "\n" not in board.line("demo-north", seen, 60.0)


def test_a_pace_that_is_not_reached_says_which_is(seen: Seen) -> None:
    assert board.pace(replace(seen, pace=21345.6), 1e6) == "pace 21,300 of 1,000,000 asked"
    assert board.pace(replace(seen, pace=59.0), 60.0) == "pace 60"
    assert board.pace(replace(seen, pace=0.0, pace_error=0.1), 0.01) == "pace 0.01", "no scan was due yet"
    assert board.pace(replace(seen, pace=298.4), None) == "pace 298 (lockstep)"
    assert board.pace(replace(seen, pace=None), 5.0) == "pace 5"


def test_link_tells_who_is_there_and_a_tripped_watchdog(seen: Seen) -> None:
    many = replace(seen, peers=tuple(f"10.0.0.{n}:502" for n in range(5)), beat=7, beat_s=0.25)
    assert board.link(many).startswith("10.0.0.0:502, 10.0.0.1:502, 10.0.0.2:502 and 2 more; heartbeat 7, 0.2 s ago;")
    assert "WATCHDOG TRIPPED" in board.link(replace(seen, tripped=True, trips=1))
    assert "no watchdog set" in board.link(replace(seen, watchdog_s=inf))
    assert [board.ago(s) for s in (3.0, 600.0, 7200.0)] == ["3.0 s", "10 min", "2:00:00 h"]


def test_other_equipment_is_told_by_what_it_has() -> None:
    plant = plant_of("demo-east", "demo-east")
    told = board.told(Watch(plant, Server(plant.device)).look())
    assert "0 of 4 stages" in told
    assert "fog 0 %" in told
