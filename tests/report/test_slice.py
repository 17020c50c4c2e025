"""An older cycle that nobody summed up is reported all the same, from its own part of the record."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

from controller.report.recorded import opened
from controller.store.reader import Reader


def test_a_cycle_left_without_a_summary_is_summed_up_from_its_own_minutes(troubled: Any, tmp_path: Path) -> None:
    record = tmp_path / "record.sqlite"
    record.write_bytes(troubled.record.read_bytes())
    with opened(record, 1) as sealed:
        expected = sealed.summary
    with closing(sqlite3.connect(record)) as db, db:
        db.execute("UPDATE cycles SET summary = NULL, seal = NULL WHERE cycle = 1")
    with opened(record, 1) as found:
        assert not found.sealed
        assert found.summary["recipe"] == expected["recipe"]
        assert found.summary["scans"] == expected["scans"]
        assert found.summary["trips"] == expected["trips"] == []
        assert found.summary["finished"] is expected["finished"] is True
        assert abs(found.summary["energy_kWh"]["heat"] - expected["energy_kWh"]["heat"]) < 1.0
        # what happened in the second cycle is not in the first one's summary
        assert "door-open" not in [alarm["tag"] for alarm in found.summary["alarms"]]
    with Reader(record) as reader:
        assert len(reader.cycles()) == 2
