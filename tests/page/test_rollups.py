"""Coarse copies of the minutes: nothing is missing in them, also where a cycle ends and another begins."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from math import isfinite
from pathlib import Path

from controller.page.live.feed import Feed
from controller.page.live.places import places
from controller.page.live.rollups import open_rollups
from controller.store.glance import Glance

HOUR_MS, MINUTE_MS = 3_600_000, 60_000
HOURS = 40


def lengthen(record: Path) -> tuple[int, int]:
    """The newest minute again and again up to 40 h later, in four cycles that end at odd times; first, last UTC ms."""
    with closing(sqlite3.connect(record)) as db, db:
        first, scans, utc_ms, columns = db.execute(
            "SELECT first_scan, scans, utc_ms, columns FROM minutes ORDER BY first_scan DESC LIMIT 1"
        ).fetchone()
        names = [row[1] for row in db.execute("PRAGMA table_info(cycles)")]
        rest = ", ".join(name for name in names if name != "cycle")
        for cycle in (2, 3, 4):
            db.execute(f"INSERT INTO cycles (cycle, {rest}) SELECT ?, {rest} FROM cycles WHERE cycle = 1", (cycle,))
        for minute in range(1, 60 * HOURS):
            cycle = 1 + sum(minute >= 60 * hours + 17 for hours in (9, 10, 28))
            db.execute(
                "INSERT INTO minutes (first_scan, cycle, scans, utc_ms, columns) VALUES (?, ?, ?, ?, ?)",
                (first + scans * minute, cycle, scans, utc_ms + MINUTE_MS * minute, columns),
            )
    return utc_ms, utc_ms + MINUTE_MS * (60 * HOURS - 1)


def test_a_long_trend_has_no_hole_where_a_cycle_ends(data: Path) -> None:
    from_ms, to_ms = lengthen(data / "record.sqlite")
    feed = Feed(places(data))
    trends = feed.trends["chamber"]
    glance = Glance(data / "record.sqlite")
    before = trends.read("TY-101", from_ms, to_ms, 900)
    while trends.roll(glance):
        pass
    after = trends.read("TY-101", from_ms, to_ms, 900)
    glance.close()
    feed.stop()
    for found in (before, after):
        assert None not in found["mean"]
        assert all(isfinite(value) for value in found["mean"])
        steps = {later - sooner for sooner, later in zip(found["utc_ms"], found["utc_ms"][1:], strict=False)}
        assert max(steps) <= found["step_ms"] + 15 * MINUTE_MS
    assert after["step_ms"] == 15 * MINUTE_MS


def test_a_file_of_an_older_layout_is_made_anew(tmp_path: Path) -> None:
    path = tmp_path / "trends.sqlite"
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("CREATE TABLE done (chamber TEXT PRIMARY KEY, utc_ms INTEGER NOT NULL)")
        db.execute("INSERT INTO done VALUES ('chamber', 5)")
    with closing(open_rollups(path)) as made:
        assert made.execute("SELECT count(*) FROM done").fetchone() == (0,)
    with closing(open_rollups(path)) as again:
        assert again.execute("PRAGMA user_version").fetchone() == (2,)
