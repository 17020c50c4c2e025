"""Product hardens on while there is no controller: its age goes on, and what is not certain of it does not count."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from controller.report import table
from controller.report.recorded import opened
from controller.runtime.resume import begin
from controller.runtime.session import CODEC, prepare
from controller.store.recorder import Recorder
from plantsim.truth import COLUMN

SCANS, AWAY_S = 1200, 3300


def resumed(rig: Any, folder: Path) -> Path:
    """20 min of a cycle, 55 min without a controller (the device lives through them, heat and fog off), 5 min more."""
    record = folder / "record.sqlite"
    header = rig.session.header("direct", simulated=True)
    recorder = Recorder(record, header, CODEC, began_ms=0, group_minutes=1)
    rig.run(SCANS, recorder=recorder)
    recorder.close()
    start = begin(rig.session, record, header, 1000 * (SCANS - 1 + AWAY_S))
    rig.results.clear()
    back_ms = 1000 * (SCANS - 1 + AWAY_S)
    recorder = Recorder(record, header, CODEC, began_ms=back_ms, group_minutes=1)
    rig.run(300, start=replace(start, skipped_scans=AWAY_S), recorder=recorder, began_ms=back_ms)
    recorder.close()
    return record


def test_the_true_age_lies_between_what_is_certain(rig: Any, tmp_path: Path) -> None:
    resumed(rig, tmp_path)
    seen = rig.results[-1].state.seen
    truth = rig.plant.log.known()[-1]
    true_min, true_max = truth[COLUMN["equivalent_age_min_h"]], truth[COLUMN["equivalent_age_max_h"]]
    assert seen.uncertain_h == pytest.approx(AWAY_S / 3600.0, abs=0.02)
    assert seen.age_h_min <= true_min <= true_max <= seen.age_h_max
    assert seen.age_h_mean == pytest.approx(0.5 * (true_min + true_max), abs=0.05)
    assert seen.age_h_max - seen.age_h_min < 0.5, "an hour of a cold product leaves no more doubt"


def test_it_is_journaled_and_reported_with_its_doubt(rig: Any, tmp_path: Path) -> None:
    """With product of 12 h, which has heat of its own to warm itself with, or to come back from cold."""
    rig.session = prepare(replace(rig.session.asked, age_h=12.0))
    with opened(resumed(rig, tmp_path)) as recorded:
        [line] = [row for row in recorded.journal if row.tag == "AGE"]
        summary = recorded.summary
    assert line.text.startswith("equivalent age bridged over 0.9")
    bridged = summary["believed"]["product"]["bridged"]
    assert bridged["hours"] == pytest.approx(0.92, abs=0.02)
    assert 0.0 < bridged["younger_h"] < 0.3
    assert 0.0 < bridged["older_h"] < 0.3
    assert "of it bridged without readings" in table.table(summary)
    assert "1 outage" in table.table(summary)


def test_a_short_gap_is_counted_and_not_in_doubt(rig: Any, tmp_path: Path) -> None:
    record = tmp_path / "record.sqlite"
    header = rig.session.header("direct", simulated=True)
    recorder = Recorder(record, header, CODEC, began_ms=0, group_minutes=1)
    rig.run(600, recorder=recorder)
    recorder.close()
    age_h = rig.results[-1].state.seen.age_h_min
    start = begin(rig.session, record, header, 1000 * (599 + 120))
    rig.results.clear()
    rig.run(120, start=start)
    seen = rig.results[-1].state.seen
    assert (seen.age_h_min - age_h) * 3600.0 == pytest.approx(210.0, abs=40.0)
    assert (seen.uncertain_h, rig.results[-1].state.product.younger_h) == (0.0, ())
