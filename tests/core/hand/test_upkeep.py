"""Hours, starts and due items in a whole scan."""

from __future__ import annotations

from typing import Any

from controller.core.upkeep import wear


def test_drives_are_counted_and_orders_answered(running: Any) -> None:
    running.scan(100)
    hours = {drive.tag: drive for drive in wear.upto(running.state.upkeep.wear, float(running.scans))}
    assert hours["YS-101"].starts == 1
    assert 150.0 < hours["YS-101"].on_s < 230.0
    assert running.order("done", item="probes", note="offsets entered") == "done"
    assert running.order("done", item="nothing").startswith("no item is called 'nothing': known are person-inside-test")
    (done,) = running.state.upkeep.duty.done
    assert (done.tag, done.who, done.role) == ("probes", "ana", "operator")
    assert [dict(event.data)["what"] for event in running.told("duty")] == ["done"]
    assert running.broken == set()


def test_what_is_overdue_is_an_alarm_of_low_priority_until_it_is_done(chamber: Any) -> None:
    chamber.values["TT-110"] = 2.0
    chamber.scan(310)
    assert [tag for tag, _since in chamber.state.upkeep.duty.due] == ["frost-drain"]
    assert chamber.alarms() == set()
    chamber.scan(7600)
    assert chamber.alarms() == {"work-overdue"}
    assert (chamber.out("YL-190"), chamber.out("YC-192")) == (True, True)
    assert chamber.order("done", item="frost-drain", note="both lines") == "done"
    chamber.scan(310)
    assert chamber.alarms() == set()
    assert chamber.broken == set()
