"""The panel goes silent in a hold and comes back: safe by itself, told in words, and a person has the last word."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import replace
from typing import Any

import pytest

from controller.link.direct import DirectLink
from controller.link.faulty import Fault, FaultyLink
from controller.link.modbus import ModbusLink
from controller.rig.plant import _device_map, _terminals
from plantsim.chamber import OUTPUTS
from plantsim.remote_io import RemoteIo
from plantsim.server import Server
from plantsim.terminals import wiring_of

CUT = 205  # in the hold, heat and fog at work
AWAY = 40  # scans without an answer; the device's watchdog waits for 10
AGAIN = CUT + 115  # probes that were bad with the link count as good again after a minute
ORDERS = {CUT + 60: "restart", CUT + 70: "reset-trips", AGAIN: "restart"}
HEAT, VALVE, FOG_A, FOG_B = (OUTPUTS.index(name) for name in ("heat_run", "valve_pct", "fog_a", "fog_b"))
FAN = OUTPUTS.index("fan_run")


def check_what_the_device_did(rig: Any) -> None:
    """10 s after the last block it heard everything dangerous is off and the air moves on."""
    heard = CUT  # steps are counted from 0, one a scan, and the cut block was never heard
    assert rig.driven[heard - 1][HEAT] == 1.0
    assert rig.driven[heard - 1][FOG_A] or rig.driven[heard - 1][FOG_B]
    for step in range(heard + 10, heard + AWAY - 1):
        outputs = rig.driven[step]
        assert (outputs[HEAT], outputs[VALVE], outputs[FOG_A], outputs[FOG_B], outputs[FAN]) == (0, 0, 0, 0, 1)


def check_what_people_were_told(rig: Any) -> None:
    """Trip and alarm within the bounds, clock stopped, nothing on by itself, restart only after reset."""
    trip = rig.rows("trip", "link-lost")
    assert CUT + 2 <= trip[0][0] <= CUT + 6
    assert "look at power and network of the panel" in dict(trip[0][1].data)["action"]
    assert rig.rows("alarm", "link-bad")
    assert rig.rows("link")
    assert rig.state(CUT + 10) == "held"
    outcomes = {scan: event.text for scan, event in rig.rows("command")}
    assert "restart by test: refused, a protection still acts" in outcomes[CUT + 60]
    assert outcomes[CUT + 70] == "reset-trips by test: done"
    assert {rig.state(scan) for scan in range(CUT + 10, AGAIN)} == {"held"}
    for scan in range(trip[0][0], CUT + 70):
        assert not any(rig.out(scan, tag) for tag in ("TCV-103", "YC-103", "XV-102A", "XV-102B"))
    assert outcomes[AGAIN] == "restart by test: done"
    assert rig.state(AGAIN + 500) in ("restarting", "running")
    assert any(rig.out(scan, "YC-103") for scan in range(AGAIN, AGAIN + 500))


@pytest.mark.parametrize("kind", ["lost-request", "disconnected"])
def test_silence_over_the_direct_link(rig: Any, kind: Any) -> None:
    """Frame 0 is the first read, so turn n is frame n + 1. No simulated time is lost: the device catches up."""
    rig.link = FaultyLink(DirectLink(rig.plant.device), {CUT + 1: Fault(kind=kind, frames=AWAY)})
    rig.run(AGAIN + 510, orders=ORDERS)
    assert rig.plant.device.trips == 1
    assert rig.plant.device.scans == AGAIN + 511  # and the safe block at the end
    assert rig.report.link_failures == AWAY
    check_what_the_device_did(rig)
    check_what_people_were_told(rig)


def test_lost_replies_leave_the_device_fed_but_the_controller_blind(rig: Any) -> None:
    """The device hears and obeys, so its watchdog must not trip; the controller sees nothing and takes heat away."""
    rig.link = FaultyLink(DirectLink(rig.plant.device), {CUT + 1: Fault(kind="lost-reply", frames=AWAY)})
    rig.run(AGAIN + 510, orders=ORDERS)
    assert rig.plant.device.trips == 0
    assert [outputs[HEAT] for outputs in rig.driven[CUT + 10 : CUT + 70]] == [0.0] * 60
    check_what_people_were_told(rig)


def test_two_lost_frames_are_ridden_through(rig: Any) -> None:
    rig.link = FaultyLink(DirectLink(rig.plant.device), {CUT + 1: Fault(kind="lost-request", frames=2)})
    rig.run(CUT + 60)
    assert rig.rows("trip") == []
    assert {rig.state(scan) for scan in range(CUT, CUT + 60)} == {"running"}
    assert [event.text for _scan, event in rig.rows("link")][-1] == "the device answers again after 2 scans"


@pytest.mark.parametrize("reboots", [False, True], ids=["network lost", "device restarted"])
def test_device_dies_and_comes_back_over_modbus(rig: Any, reboots: bool) -> None:
    """The server is really stopped and started again on its port; restarted, the device knows no heartbeat any more."""
    with ExitStack() as stack:
        server = stack.enter_context(Server(rig.plant.device))
        port = server.port
        device = replace(rig.session.device, host="127.0.0.1", port=port)
        image = rig.session.image
        rig.link = ModbusLink(
            device, input_count=image.input_count, output_count=image.output_count, lockstep=True
        )
        stack.callback(rig.link.close)

        def back() -> None:
            remote = reborn(rig) if reboots else rig.plant.device
            stack.enter_context(Server(remote, port=port))

        rig.run(AGAIN + 510, orders=ORDERS, acts={CUT: server.stop, CUT + AWAY: back})
    assert rig.link.counts["refused"] >= AWAY - 1
    assert any("connection refused" in event.text for _scan, event in rig.rows("link"))
    check_what_people_were_told(rig)
    if not reboots:
        check_what_the_device_did(rig)
        assert rig.plant.device.trips == 1


def reborn(rig: Any) -> RemoteIo:
    """The panel after a power cut: same chamber, nothing remembered."""
    old, points = rig.plant.device, rig.session.bundle.points
    return RemoteIo(
        old._chamber, _terminals(points), _device_map(points, rig.session.device), wiring_of(rig.plant.params),
        lockstep=True,
    )


def test_emergency_stop_pressed_while_the_panel_is_silent_is_seen_when_it_answers(rig: Any) -> None:
    press: Callable[[], object] = lambda: rig.plant.chamber.set_condition("estop_healthy", False)  # noqa: E731
    rig.link = FaultyLink(DirectLink(rig.plant.device), {CUT + 1: Fault(kind="lost-request", frames=AWAY)})
    rig.run(CUT + 60, acts={CUT + 20: press})
    assert CUT + AWAY <= rig.rows("trip", "emergency-stop")[0][0] <= CUT + AWAY + 2
    assert rig.state(CUT + 59) == "aborted"
    assert not any(rig.out(scan, tag) for tag in ("SC-101", "YC-101") for scan in range(CUT + AWAY + 2, CUT + 60))


class TripsBetween(DirectLink):
    """A device whose watchdog trips after one block and ends with the next: nothing shows it but its count."""

    def turn(self, words: Sequence[int]) -> Sequence[int]:
        answer = list(super().turn(words))
        assert answer[4] & 1 == 0
        if answer[5] % 65536 >= CUT:
            answer[7] += 1
        return answer


def test_a_watchdog_that_tripped_between_two_readings_is_a_trip_too(rig: Any) -> None:
    """A controller that stood still between reading and writing finds the panel well again, and its drives stopped."""
    rig.link = TripsBetween(rig.plant.device)
    rig.run(CUT + 30)
    assert [scan for scan, _ in rig.rows("trip", "watchdog")] == [CUT]
    assert rig.state(CUT + 20) == "held"
    assert not any(rig.out(CUT + 20, tag) for tag in ("TCV-103", "YC-103", "XV-102A", "XV-102B"))
