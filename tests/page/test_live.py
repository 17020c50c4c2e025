"""What is shown of a record: the picture, whether it is live, trends of any span."""

from __future__ import annotations

import json
import os
import time
from dataclasses import replace
from pathlib import Path

import pytest

from controller.core.alarms.alarms import ActiveAlarm, AlarmsConfig
from controller.core.rows.alarms import ALARMS
from controller.errors import StoreError
from controller.page.live import rollups, trends
from controller.page.live.bound import bound
from controller.page.live.feed import Feed
from controller.page.live.places import places
from controller.page.live.urgency import alarm_line, call
from controller.page.live.watch import STALE_S_MIN, ChamberWatch
from controller.store.glance import Glance
from controller.store.reader import Reader
from controller.store.writer import Checkpoint


def test_a_picture_has_the_numbers_of_the_newest_scan(data: Path) -> None:
    watch = ChamberWatch(places(data).chambers[0])
    assert watch.poll()
    seen = watch.seen
    with Reader(data / "record.sqlite") as reader:
        last = reader.last_scan()
        minute = reader.minutes("TY-101")[-1]
    assert (seen["scan"], seen["utc_ms"]) == last
    assert abs(seen["air"]["degC"] - minute.mean) < 0.2
    assert (seen["state"], seen["phase_kind"], seen["simulated"]) == ("running", "rest", True)
    assert len(seen["face_degC"]) == watch.plate["bays"] * watch.plate["levels"]
    assert len(seen["values"]) == len(watch.plate["probes"])
    json.dumps(seen, allow_nan=False)
    watch.close()


def test_a_picture_without_a_new_scan_is_no_longer_live(data: Path) -> None:
    now = 0.0
    watch = ChamberWatch(places(data).chambers[0], clock=lambda: now)
    watch.poll()
    assert watch.seen["live"]
    now = 0.4
    assert not watch.poll()
    now = max(STALE_S_MIN, 3 * watch.plate["scan_s"]) + 5.0
    assert watch.poll()
    assert not watch.seen["live"]
    assert watch.seen["age_s"] > STALE_S_MIN
    watch.close()


@pytest.mark.parametrize("read_before", [False, True])
def test_a_record_that_nobody_writes_any_more_is_not_live_even_at_the_first_look(data: Path, read_before: bool) -> None:
    """Whoever reads a record makes an empty log beside it, which is as new as the look."""
    record = data / "record.sqlite"
    os.utime(record, (time.time() - 7200.0,) * 2)
    other = Glance(record) if read_before else None
    if other is not None:
        other.scan()
    watch = ChamberWatch(places(data).chambers[0], clock=lambda: 0.0)
    watch.poll()
    assert not watch.seen["live"]
    assert 7190.0 < watch.seen["age_s"] < 7400.0
    watch.close()
    if other is not None:
        other.close()


def test_a_chamber_without_a_record_asks_for_a_look(tmp_path: Path) -> None:
    watch = ChamberWatch(places(tmp_path).chambers[0])
    watch.poll()
    assert (watch.seen["live"], watch.seen["trouble"], watch.seen["call"]["level"]) == (False, "waiting", "look")


def test_a_record_of_another_version_is_told_and_not_shown(data: Path) -> None:
    import sqlite3

    with sqlite3.connect(data / "record.sqlite") as db:
        text = json.loads(db.execute("SELECT header FROM cycles").fetchone()[0])
        text["texts"]["chamber"]["text"] = "name = 'x'"
        db.execute("UPDATE cycles SET header = ?", (json.dumps(text),))
    db.close()
    watch = ChamberWatch(places(data).chambers[0])
    watch.poll()
    assert watch.seen["trouble"] == "unreadable"
    assert "another version" in watch.seen["why"]
    watch.close()


def test_a_forecast_gives_end_and_ready_time(data: Path) -> None:
    watch = ChamberWatch(places(data).chambers[0])
    watch.poll()
    watch.look_ahead()
    watch.poll()
    seen = watch.seen
    assert seen["began_ms"] < seen["ready_low_ms"] < seen["ready_ms"] < seen["ready_high_ms"]
    assert 20.0 < (seen["finish_ms"] - seen["began_ms"]) / 3.6e6 < 30.0
    assert watch.outlook is not None
    assert watch.outlook.plan()["phases"][0][0] == "rest"
    watch.close()


def alarm(tag: str, priority: str, state: str, by_ms: int = 5, hidden: str = "") -> dict[str, object]:
    return {"tag": tag, "text": f"{tag}!", "priority": priority, "state": state, "by_ms": by_ms, "hidden": hidden}


@pytest.mark.parametrize(
    ("alarms", "state", "expected"),
    [
        ([], "running", ("well", "", None)),
        ([], "held", ("look", "held", None)),
        ([], "stopped", ("note", "stopped", None)),
        ([], "complete", ("well", "", None)),
        ([alarm("a", "low", "U")], "running", ("note", "a", 5)),
        ([alarm("a", "low", "U"), alarm("b", "medium", "A", 9)], "running", ("look", "b", 9)),
        ([alarm("b", "medium", "U", 9), alarm("c", "medium", "U", 7)], "running", ("look", "c", 7)),
        ([alarm("c", "high", "A", 8)], "held", ("act", "c", 8)),
        ([alarm("c", "high", "R")], "running", ("note", "c", None)),
        ([alarm("c", "high", "U", hidden="planned work")], "running", ("well", "", None)),
    ],
)
def test_one_word_says_what_a_chamber_needs(
    alarms: list[dict[str, object]], state: str, expected: tuple[str, str, int | None]
) -> None:
    found = call(alarms, state)
    assert (found["level"], found["about"], found["by_ms"]) == expected
    assert found["text"] == (f"{expected[1]}!" if expected[1] and expected[1] not in ("held", "stopped") else "")


@pytest.mark.parametrize(("alarms", "gone"), [("R", True), ("U", False), ("A", False), ("", False)])
def test_a_note_about_what_is_over_says_that_it_is_over(alarms: str, gone: bool) -> None:
    assert call([alarm("c", "high", alarms)] if alarms else [], "running")["gone"] is gone


def test_a_folder_of_records_is_a_site(data: Path, tmp_path: Path) -> None:
    for name in ("b", "a"):
        (tmp_path / "many" / name).mkdir(parents=True)
        (tmp_path / "many" / name / "record.sqlite").write_bytes((data / "record.sqlite").read_bytes())
    assert [place.id for place in places(tmp_path / "many").chambers] == ["a", "b"]
    works = places(tmp_path, "demo-works")
    assert [(place.id, place.line) for place in works.chambers][:3] == [
        ("north", "line 1"), ("south", "line 1"), ("east", "line 2")
    ]  # fmt: skip


def test_a_minute_by_time_is_the_same_row_that_a_whole_read_finds(data: Path) -> None:
    glance = Glance(data / "record.sqlite")
    with Reader(data / "record.sqlite") as reader:
        rows = reader.minutes("MY-101")
    columns = glance.columns()
    found = glance.column(columns, "MY-101", rows[5].utc_ms, rows[20].utc_ms)
    assert found == [tuple(row) for row in rows[5:20]]
    glance.close()


def test_coarse_copies_keep_every_peak(data: Path, tmp_path: Path) -> None:
    """Quarter hours of a made-up day: the least and greatest of the minutes are in them, the mean is theirs."""
    minutes = [(60_000 * number, 0.5 * number - 1.0, 0.5 * number, 0.5 * number + 1.0, 0) for number in range(60)]
    folded = trends._fold(minutes, 900_000, 60_000)
    assert folded["utc_ms"] == [0, 900_000, 1_800_000, 2_700_000]
    assert folded["least"][0] == -1.0
    assert folded["greatest"][-1] == 30.5
    assert folded["mean"][1] == pytest.approx(sum(0.5 * n for n in range(15, 30)) / 15)


def test_a_gap_breaks_the_line() -> None:
    rows = [(60_000 * number, 1.0, 1.0, 1.0, 0) for number in (0, 1, 2, 40, 41)]
    folded = trends._fold(rows, 60_000, 60_000)
    assert None in folded["mean"]
    assert folded["utc_ms"] == sorted(folded["utc_ms"])


def test_coarse_copies_are_made_from_the_record_and_made_again_when_lost(data: Path) -> None:
    path = data / "page" / "trends.sqlite"
    db = rollups.open_rollups(path)
    glance = Glance(data / "record.sqlite")
    columns = glance.columns()
    # half an hour is no six hours: nothing to fold yet
    assert not rollups.follow(db, "chamber", glance, columns)
    db.close()
    path.write_bytes(b"this is no database at all" * 100)
    again = rollups.open_rollups(path)
    assert rollups.done_ms(again, "chamber") == 0
    again.close()
    glance.close()


def test_the_list_is_worst_first_and_a_silent_chamber_before_one_that_only_needs_a_look(tmp_path: Path) -> None:
    site = tmp_path / "site.toml"
    names = ("well", "look", "act", "silent", "never")
    chambers = "".join(f'[[line.chamber]]\nname = "{name}"\ndata = "{name}"\n' for name in names)
    site.write_text(f'name = "x"\n[[line]]\nname = "1"\n{chambers}', encoding="utf-8")
    feed = Feed(places(tmp_path, str(site)))
    for name, live, rank in (("well", True, 0), ("look", True, 2), ("act", True, 3), ("silent", False, 0)):
        watch = feed.watches[name]
        watch.seen = {**watch.seen, "live": live, "trouble": "", "call": {**watch.seen["call"], "rank": rank}}
    assert [row["name"] for row in feed.rows()] == ["act", "silent", "look", "never", "well"]
    feed.stop()


def test_by_when_somebody_should_come_is_what_the_chamber_file_says() -> None:
    config = AlarmsConfig(respond_medium_min=20.0, respond_min={"door-long": 5.0})
    said = [config.minutes_to_respond(tag, "medium") for tag in ("door-long", "temperature-low")]
    assert said == [5.0, 20.0]
    checkpoint = Checkpoint(0, 1_000_000, 600.0, "")
    row = next(row for row in ALARMS if row.tag == "temperature-low")
    line = alarm_line(ActiveAlarm(row, 300.0, "U", ""), checkpoint, config)
    assert (line["from_ms"], line["by_ms"]) == (700_000, 700_000 + 60_000 * 20)


def test_a_time_for_an_alarm_that_is_none_is_refused(data: Path) -> None:
    glance = Glance(data / "record.sqlite")
    found = glance.header()
    glance.close()
    assert found is not None
    chamber = found[2].texts["chamber"].replace("# [alarms.respond_min]", "[alarms.respond_min]")
    texts = {**found[2].texts, "chamber": chamber.replace("# door-long = 5.0", "door-lung = 5.0")}
    with pytest.raises(StoreError, match="door-lung"):
        bound(replace(found[2], texts=texts))
