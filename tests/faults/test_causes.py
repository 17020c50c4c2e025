"""Something goes wrong at the panel in a hold: dangerous outputs are off in that scan, and nothing comes back alone."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from controller.core.frames import Command
from controller.core.orders.verbs import RESUMING
from plantsim.kernel import layout as at

TROUBLE = 205  # in the hold, heat and fog at work in every scan around it
HEAT = ("TCV-103", "YC-103")
FOG = ("XV-102A", "XV-102B")
FAN = ("SC-101", "YC-101")


def condition(name: str) -> Callable[[Any, bool], None]:
    return lambda plant, closed: plant.chamber.set_condition(name, closed)


def door(plant: Any, closed: bool) -> None:
    plant.chamber.set_door(3, not closed)


def limiter(plant: Any, closed: bool) -> None:
    plant.chamber.state.gear[at.G_TRIPPED] = 0.0 if closed else 1.0


# tag of the row, contact, how it is opened, outputs that must be off at once, delay until it trips, state, vent open
CAUSES = [
    ("emergency-stop", "HS-101", condition("estop_healthy"), HEAT + FOG + FAN, 0, "aborted", False),
    ("person-inside", "HS-103", condition("person_healthy"), HEAT + FOG + FAN, 0, "held", True),
    ("limiter", "TZS-103", limiter, HEAT, 0, "held", True),
    ("door-open", "ZS-101C", door, FOG, 30, "held", False),
    ("fog-pressure", "PS-102", condition("fog_pressure"), FOG, 3, "running", False),
]
IDS = [cause[0] for cause in CAUSES]


@pytest.mark.parametrize(("row", "contact", "switch", "off", "delay", "state", "vent"), CAUSES, ids=IDS)
def test_outputs_are_off_in_the_scan_that_sees_the_cause(
    rig: Any, row: str, contact: str, switch: Any, off: tuple[str, ...], delay: int, state: str, vent: bool
) -> None:
    rig.run(TROUBLE + 60, acts={TROUBLE: lambda: switch(rig.plant, False)})
    for group in (HEAT, FOG, FAN):
        assert any(rig.out(TROUBLE, tag) for tag in group), "not at work: this test would prove nothing"
    seen = next(scan for scan in range(TROUBLE, TROUBLE + 10) if not rig.contact(scan, contact))
    assert seen <= TROUBLE + 2
    for scan in range(seen, TROUBLE + 60):
        assert {tag: rig.out(scan, tag) for tag in off} == dict.fromkeys(off, 0.0)
    trips = [(scan, event.tag) for scan, event in rig.rows("trip")]
    assert trips[0] == (seen + max(0, delay - 1), row)
    assert rig.state(seen + delay + 5) == state
    assert rig.out(TROUBLE + 50, "ZC-120") == (100.0 if vent else pytest.approx(0.0, abs=99.0))
    assert [scan for scan, event in rig.rows("alarm", row)] == [trips[0][0]]
    assert rig.out(TROUBLE + 50, "YL-190") == 1.0


@pytest.mark.parametrize(("row", "contact", "switch", "off", "delay", "state", "vent"), CAUSES[:3], ids=IDS[:3])
def test_reset_is_refused_while_the_cause_is_there_and_never_restarts(
    rig: Any, row: str, contact: str, switch: Any, off: tuple[str, ...], delay: int, state: str, vent: bool
) -> None:
    """Reset with the cause there; cause gone; reset again; a minute of nothing; only then what a person orders."""
    onward = "reset" if state == "aborted" else "restart"
    rig.run(
        TROUBLE + 160,
        acts={TROUBLE: lambda: switch(rig.plant, False), TROUBLE + 30: lambda: switch(rig.plant, True)},
        orders={TROUBLE + 20: "reset-trips", TROUBLE + 25: onward, TROUBLE + 40: "reset-trips", TROUBLE + 110: onward},
    )
    outcomes = {scan: event.text for scan, event in rig.rows("command")}
    assert "reset-trips by test: refused, still there: " in outcomes[TROUBLE + 20]
    assert outcomes[TROUBLE + 40] == "reset-trips by test: done"
    assert rig.results[TROUBLE + 39].verdict.trips == (row,)
    assert rig.results[TROUBLE + 40].verdict.trips == ()
    if state == "held":
        assert "refused, a protection still acts" in outcomes[TROUBLE + 25]
        assert {rig.state(scan) for scan in range(TROUBLE + 10, TROUBLE + 110)} == {"held"}
        stood = {rig.results[scan].state.sequence.phase_s for scan in range(TROUBLE + 10, TROUBLE + 110)}
        assert len(stood) == 1
        assert rig.state(TROUBLE + 110) == "restarting"
        assert not any(rig.out(scan, tag) for tag in off for scan in range(TROUBLE + 3, TROUBLE + 110))
        assert rig.out(TROUBLE + 159, "YC-101") == 1.0
        assert rig.results[TROUBLE + 159].verdict.blocked == ()
    else:
        assert {rig.state(scan) for scan in range(TROUBLE + 26, TROUBLE + 100)} == {"idle"}
        assert not any(rig.out(scan, tag) for tag in HEAT + FOG for scan in range(TROUBLE + 3, TROUBLE + 160))


def test_after_a_hard_wired_circuit_the_controller_does_not_restart_by_itself_either(rig: Any) -> None:
    """The restart that it gives itself a minute after an outage; a button was pressed and reset in that minute."""
    person = condition("person_healthy")

    class Resuming:
        def due(self, scan: int) -> tuple[Command, ...]:
            return (Command("outage-1-restart", "restart", RESUMING),) if scan == TROUBLE + 60 else ()

    rig.more = (Resuming(),)
    rig.run(
        TROUBLE + 100,
        acts={TROUBLE: lambda: person(rig.plant, False), TROUBLE + 10: lambda: person(rig.plant, True)},
        orders={TROUBLE + 30: "reset-trips", TROUBLE + 80: "restart"},
    )
    outcomes = {scan: event.text for scan, event in rig.rows("command")}
    assert outcomes[TROUBLE + 60] == (
        "restart by restart: refused, a hard-wired circuit has acted: look why, then restart the clock yourself"
    )
    assert not any(rig.out(scan, tag) for tag in HEAT + FOG + FAN for scan in range(TROUBLE + 3, TROUBLE + 80))
    assert rig.state(TROUBLE + 80) == "restarting"


def test_fan_switched_off_at_the_panel_takes_heat_at_once_and_stops_the_clock(rig: Any) -> None:
    """The isolator leaves the command standing but the fan still: flow and run contacts fall."""
    live = rig.plant.device._chamber.step

    def isolate() -> None:
        rig.plant.device._chamber.step = lambda outputs: live((0.0, *outputs[1:]))

    rig.run(TROUBLE + 100, acts={TROUBLE: isolate})
    assert rig.out(TROUBLE, "YC-103") == 1.0
    seen = next(s for s in range(TROUBLE, TROUBLE + 60) if not (rig.contact(s, "FS-101") and rig.contact(s, "YS-101")))
    trip = rig.rows("trip", "airflow-lost")[0][0]
    assert 9 <= trip - seen <= 10
    unproven = next(scan for scan in range(TROUBLE, TROUBLE + 60) if not rig.contact(scan, "FS-101"))
    for scan in range(unproven, TROUBLE + 100):
        assert rig.out(scan, "TCV-103") == rig.out(scan, "YC-103") == 0.0
    assert not any(rig.out(scan, tag) for tag in FOG for scan in range(trip, TROUBLE + 100))
    assert rig.state(trip + 3) == "held"


def test_closed_door_lets_fog_back_by_itself_but_not_before(rig: Any) -> None:
    """An open door is no trip that somebody resets: fog returns when it is shut, the hold went on."""
    rig.run(TROUBLE + 400, acts={
        TROUBLE: lambda: door(rig.plant, False), TROUBLE + 60: lambda: door(rig.plant, True),
    })
    opened = [scan for scan in range(TROUBLE, TROUBLE + 400) if not rig.contact(scan, "ZS-101C")]
    assert not any(rig.out(scan, tag) for tag in FOG for scan in opened)
    assert any(rig.out(scan, tag) for tag in FOG for scan in range(opened[-1] + 1, TROUBLE + 400))
    assert any(rig.out(scan, "YC-103") for scan in range(opened[-1] + 1, TROUBLE + 400))


def test_lost_pressure_stays_latched_until_a_person_resets(rig: Any) -> None:
    pressure = condition("fog_pressure")
    rig.run(TROUBLE + 400, acts={
        TROUBLE: lambda: pressure(rig.plant, False), TROUBLE + 30: lambda: pressure(rig.plant, True),
    }, orders={TROUBLE + 200: "reset-trips"})
    assert not any(rig.out(scan, tag) for tag in FOG for scan in range(TROUBLE + 2, TROUBLE + 200))
    assert any(rig.out(scan, tag) for tag in FOG for scan in range(TROUBLE + 200, TROUBLE + 400))
    assert {rig.state(scan) for scan in range(TROUBLE, TROUBLE + 400)} == {"running"}
