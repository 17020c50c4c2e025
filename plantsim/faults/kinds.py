"""Every kind of fault: what it needs, its bounds, what it does. The one table of them.

A kind belongs to a room: sensor, actuator, plant (applied by Faulted around a chamber), wire (between chamber and
controller, by frame number) or operator (a person at the panel or at a screen). `target` says what it needs:

probe     tag of an analog channel; humidity: one that sees humidity
drive     fan, heat, vent, fog-a, fog-b, frames; throttle: those of them that go anywhere between 0 and 100 %
          (fan, heat, vent); witness: those whose position is reported back (fan, heat, vent)
bay       number of a bay; door: of one that has a door
device    of a panel of several devices one by its name; left out, all of them suffer
word      tag of a channel, or the number of a word in the input block of the only device
switch    fan, heat or fog
circuit   a contact at the panel that is closed while all is well: see fit.CIRCUITS
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Room = Literal["sensor", "actuator", "plant", "wire", "operator"]
Needs = Literal[
    "", "probe", "humidity", "drive", "throttle", "witness", "bay", "door", "device", "word", "switch", "circuit"
]


@dataclass(frozen=True, slots=True)
class Kind:
    """amount: usual, lo, hi in `unit`; all 0 where there is nothing to say. text: what it does, {} = the amount."""

    name: str
    room: Room
    target: Needs
    text: str
    unit: str = ""
    usual: float = 0.0
    lo: float = 0.0
    hi: float = 0.0


KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind("off", "sensor", "probe", "the sensor is lost: the transmitter sends {}", "uA", 3500.0, 0.0, 3600.0),
        Kind("stuck", "sensor", "probe", "shows what it showed when it stuck"),
        Kind("garbage", "sensor", "probe", "shows anything between 0 and 24 mA, another number each scan"),
        Kind("biased", "sensor", "probe", "shows {} more than it should", "of its unit", 2.0, -1000.0, 1000.0),
        Kind("drifting", "sensor", "probe", "drifts by {}", "of its unit an hour", 1.0, -1000.0, 1000.0),
        Kind("delayed", "sensor", "probe", "shows what was {} ago", "s", 120.0, 1.0, 3600.0),
        Kind("intermittent", "sensor", "probe", "has no contact for {}", "of the time", 0.3, 0.01, 1.0),
        Kind("pegged", "sensor", "humidity", "shows {}: water on the sensor, or a dry wick", "%RH", 100.0, 0.0, 103.0),
        Kind("stuck-on", "actuator", "drive", "stays fully on"),
        Kind("stuck-off", "actuator", "drive", "stays off"),
        Kind("stuck-mid", "actuator", "throttle", "stays at {}", "%", 50.0, 1.0, 99.0),
        Kind("slow", "actuator", "drive", "needs {} from off to fully on", "s", 600.0, 1.0, 36000.0),
        Kind("reversed", "actuator", "drive", "goes the other way"),
        Kind("half-power", "actuator", "drive", "gives only {} of what it should", "", 0.5, 0.0, 1.0),
        Kind("feedback-lies", "actuator", "witness", "reports {} whatever it does", "%", 100.0, 0.0, 100.0),
        Kind("chatter", "actuator", "drive", "drops out for half of every {}", "s", 10.0, 2.0, 3600.0),
        Kind("door-open", "plant", "door", "the door stands open"),
        Kind("belt-off", "plant", "", "the fan's motor turns and moves no air"),
        Kind("heat-lost", "plant", "", "the source of heat gives {} of its heat", "", 0.0, 0.0, 1.0),
        Kind("draught", "plant", "bay", "outdoor air is blown in, {}", "kg/s", 0.2, 0.001, 5.0),
        Kind("overfilled", "plant", "bay", "overfull racks let {} of the bay's air pass", "", 0.4, 0.02, 1.0),
        Kind("power-dip", "plant", "", "the mains are gone for the drives; the panel goes on"),
        Kind("circuit-open", "plant", "circuit", "its circuit is open: pressed, switched off, or a loose wire"),
        Kind("lost-request", "wire", "device", "a request does not arrive"),
        Kind("slow-reply", "wire", "device", "a reply comes late, within the time-out"),
        Kind("lost-reply", "wire", "device", "the device acts, its reply comes after the time-out or never"),
        Kind("late-request", "wire", "device", "a request reaches the device after the next one"),
        Kind("duplicated", "wire", "device", "a request reaches the device twice, and both replies come"),
        Kind("stale", "wire", "device", "the device acts, but the reply shows an earlier scan"),
        Kind("wrong-unit", "wire", "device", "the reply names another unit"),
        Kind("wrong-transaction", "wire", "device", "the reply has another transaction number"),
        Kind("wrong-protocol", "wire", "device", "the reply is not Modbus by its header"),
        Kind("exception", "wire", "device", "the device refuses with code {}", "", 4.0, 1.0, 11.0),
        Kind("wrong-function", "wire", "device", "the reply answers another function"),
        Kind("fewer-registers", "wire", "device", "the reply is a register short"),
        Kind("more-registers", "wire", "device", "the reply has a register too many"),
        Kind("broken-frame", "wire", "device", "half a reply, and the rest after the time-out"),
        Kind("reset", "wire", "device", "the connection is reset in the middle of a reply"),
        Kind("disconnected", "wire", "device", "nobody there: the connection is refused"),
        Kind("stuck-register", "wire", "word", "a register keeps the value that it had"),
        Kind("byte-swapped", "wire", "device", "the two bytes of every register change places"),
        Kind("word-swapped", "wire", "device", "neighbouring registers change places"),
        Kind("bit-flip", "wire", "word", "bit {} of a register is turned over", "", 0.0, 0.0, 15.0),
        Kind("double-start", "operator", "", "start is pressed while the cycle runs"),
        Kind("abort", "operator", "", "the cycle is aborted"),
        Kind("recipe-edited", "operator", "", "somebody sends another recipe to the running cycle"),
        Kind("hand-left-on", "operator", "switch", "the switch is left in hand at {}", "%", 30.0, 0.0, 100.0),
        Kind("stale-command", "operator", "", "orders that were given before arrive again from an old page"),
        Kind("acknowledge-storm", "operator", "", "{} acknowledgements a scan", "", 50.0, 1.0, 1000.0),
    )
}

WIRE = tuple(kind.name for kind in KINDS.values() if kind.room == "wire")


def kinds_of(*rooms: str) -> tuple[str, ...]:
    """Names of the kinds of some rooms, all for none, in the order of the table."""
    return tuple(kind.name for kind in KINDS.values() if not rooms or kind.room in rooms)


def said(name: str, amount: float) -> str:
    """What a fault of a kind does, in words, for an amount."""
    kind = KINDS[name]
    return kind.text.format(f"{amount:g} {kind.unit}".rstrip())
