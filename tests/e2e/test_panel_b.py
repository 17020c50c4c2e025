"""A chamber with fewer probes on a panel of two devices: the whole system over both links, and with a module lost."""

from __future__ import annotations

import csv
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from controller.config.find import SHIPPED
from controller.core.frames import Command
from controller.errors import LinkError
from controller.rig import cycle
from controller.rig.cycle import Options, direct_panel, linked
from controller.rig.plant import build, scene
from controller.runtime.clock import LockstepClock
from controller.runtime.loop import Start
from controller.runtime.orders import ScriptOrders
from controller.runtime.session import Asked, Session, prepare
from controller.runtime.trace import Trace

SCANS = 1200


@dataclass
class Kept:
    """A recorder in memory."""

    notices: deque[Any] = field(default_factory=deque)
    journal: list[tuple[int, Any]] = field(default_factory=list)

    def add(self, row: Any) -> None:
        self.journal += [(row.scan, event) for event in row.events]


def drive(session: Session, link: Any, scans: int, orders: dict[int, str]) -> tuple[list[Any], Kept]:
    """Results of every scan, strict invariants."""
    results: list[Any] = []
    kept = Kept()
    runner = session.runner(
        link=link,
        clock=LockstepClock(0, 1.0),
        orders=ScriptOrders((scan, Command(f"{verb}-{scan}", verb, "test")) for scan, verb in orders.items()),
        recorder=kept,
        strict=True,
    )
    report = runner.run(Start(state=session.fresh()), max_scans=scans, each=lambda _, result: results.append(result))
    assert report.invariants_broken == 0
    return results, kept


def asked(chamber: str, recipe: str) -> Session:
    return prepare(Asked(chamber=chamber, recipe=recipe, mix="demo-60", load_t=120, mix_degC=20))


def test_both_links_give_one_trace_on_a_panel_of_two_devices(tmp_path: Path) -> None:
    def run(link: str, seed: int = 1) -> str:
        options = Options(
            scene=scene(seed=seed), chamber="demo-south", link=link, start=datetime(2026, 3, 2, tzinfo=UTC),
            hours_max=SCANS / 3600, out=tmp_path, strict=True,
        )
        ran = cycle.run(options, lambda _fraction, _note: None)
        assert (ran.report.scans, ran.report.state.sequence.state) == (SCANS, "running")
        return ran.report.trace_sha256

    direct = run("direct")
    assert run("modbus") == direct
    assert run("direct", seed=2) != direct


@pytest.fixture
def same_words(tmp_path: Path) -> Callable[[bool], str]:
    """demo-south with currents in microamps on the first panel (False), or spread over two devices (True)."""

    def chamber(split: bool) -> str:
        home = tmp_path / ("two" if split else "one")
        for folder in ("chambers", "points", "devices"):
            (home / folder).mkdir(parents=True)
        with (SHIPPED / "points" / "panel-b.csv").open(newline="") as file:
            second = {row["tag"]: row for row in csv.DictReader(file)}
        with (SHIPPED / "points" / "panel-a.csv").open(newline="") as file:
            rows = [row for row in csv.DictReader(file) if row["tag"] in second]
        if split:
            for row in rows:
                there = second[row["tag"]]
                keep = ("device", "unit_id", "address", "bit", "table")
                row |= {name: there[name] for name in keep}
                if row["tag"] == "JT-103":  # a single register here, where the shipped file has two
                    row["address"] = "60"
        with (home / "points" / "panel.csv").open("w", newline="") as file:
            writer = csv.DictWriter(file, [*rows[0]], lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)
        text = (SHIPPED / "chambers" / "demo-south.toml").read_text()
        if split:
            blocks = (SHIPPED / "devices" / "io-b.toml").read_text().replace("count = 22", "count = 61")
            (home / "devices" / "io-b.toml").write_text(blocks)
        else:
            text = text.replace('devices = ["io-b", "rtd-b"]', 'device = "panel-a"')
        path = home / "chambers" / "south.toml"
        path.write_text(text.replace('points = "panel-b"', 'points = "panel"'))
        return str(path)

    return chamber


def test_the_same_words_over_another_panel_give_the_same_trace(
    same_words: Callable[[bool], str], quick_recipe: str
) -> None:
    """The words of channels and outputs, events and ages of every scan are hashed after the first panel's image."""
    one, two = (asked(same_words(split), quick_recipe) for split in (False, True))
    traces, last = [], []
    for session in (one, two):
        plant = build(scene(), session.bundle.points, session.bundle.devices, lockstep=True)
        with linked("modbus", plant, session.image) as link:
            results, _ = drive(session, link, SCANS, {5: "start"})
        trace = Trace(len(results[0].frame.values), one.image.output_count)
        for scan, result in enumerate(results):
            words = one.image.encode(result.outputs, scan, 1000)
            trace.add(scan, result.frame.age_scans, result.state.signals.raw, words, (), result.events)
        traces.append(trace.hexdigest())
        last.append(results[-1])
    assert last[0].state == last[1].state
    assert any(result.outputs.analog[1] > 0.0 for result in results)  # it did heat
    assert traces[0] == traces[1]


def test_a_lost_thermometer_module_stops_the_heat_and_holds_and_it_comes_back(quick_recipe: str) -> None:
    """Over the direct link the module is away for 60 scans while it heats; the coupler answers all the time."""
    session = asked("demo-south", quick_recipe)
    plant = build(scene(), session.bundle.points, session.bundle.devices, lockstep=True)
    link = direct_panel(plant, session.image)  # type: ignore[arg-type]
    module = link._members[1].port
    read, count = module.read, [0]
    lost_from, back_at = 600, 660

    def sometimes() -> list[int]:
        count[0] += 1
        if lost_from <= count[0] - 1 < back_at:
            raise LinkError("timeout", "no reply")
        return read()

    module.read = sometimes  # type: ignore[method-assign]
    results, kept = drive(session, link, 900, {5: "start", 760: "restart"})
    valve, enable = 1, 1
    hold = session.bundle.chamber.signals.hold_last_scans
    before, held, gone = results[lost_from - 1], results[lost_from + hold - 1], results[lost_from + hold]
    assert before.outputs.analog[valve] > 0.0
    assert held.climate.temperature_ok
    assert held.frame.qualities[0] == 1
    assert not gone.climate.temperature_ok
    assert [r.frame.age_scans for r in results] == [0] * 900  # the panel's outputs were never lost
    for result in results[lost_from + hold : back_at]:
        assert (result.outputs.analog[valve], result.outputs.discrete[enable]) == (0.0, False)
        assert result.outputs.discrete[0]  # the air is kept moving
    assert results[back_at - 1].state.sequence.state == "held"
    assert "temperature-bad" in results[back_at - 1].verdict.trips
    assert results[back_at].climate.temperature_ok
    assert results[-1].state.sequence.state in ("restarting", "running")
    assert any(result.outputs.analog[valve] > 0.0 for result in results[760:])
    told = [(scan, event.text) for scan, event in kept.journal if event.kind == "link"]
    assert told == [(lost_from - 1, "rtd-b: no reply"), (back_at - 1, "rtd-b answers again after 60 scans")]
