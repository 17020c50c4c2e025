"""What a fault turns or sets in the chamber itself, so that it can be put back exactly."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Protocol

from plantsim.faults.actuators import POWER
from plantsim.faults.fault import Fault
from plantsim.faults.fit import CIRCUITS, amount_of
from plantsim.knobs import Turnable

Turn = Callable[[float], float]


class KnobBoard:
    """Several faults may turn one knob: what holds is what all of them make of the value before the first."""

    def __init__(self, chamber: Turnable) -> None:
        self._chamber = chamber
        self._before: dict[str, float] = {}
        self._turns: dict[str, list[Turn]] = {}

    def turn(self, name: str, by: Turn) -> None:
        """Begin a turn."""
        self._before.setdefault(name, self._chamber.knob(name))
        self._turns.setdefault(name, []).append(by)
        self._apply(name)

    def back(self, name: str, by: Turn) -> None:
        """End it; after the last one the knob is where it was, to the bit."""
        self._turns[name].remove(by)
        self._apply(name)
        if not self._turns[name]:
            del self._turns[name], self._before[name]

    def _apply(self, name: str) -> None:
        value = self._before[name]
        for by in self._turns[name]:
            value = by(value)
        self._chamber.set_knob(name, value)


class Settable(Protocol):
    """What has doors, contacts and switches that are set from outside: a chamber."""

    @property
    def contacts(self) -> Mapping[str, bool]: ...
    def set_condition(self, name: str, closed: bool, /) -> None: ...
    def set_door(self, bay: int, open_: bool, /) -> None: ...
    def set_hand(self, name: str, value_pct: float | None, /) -> None: ...


class ContactBoard:
    """The same for contacts: a fault opens one, and it stays open until the last fault on it is over."""

    def __init__(self, chamber: Settable) -> None:
        self._chamber = chamber
        self._before: dict[str, tuple[bool, int]] = {}

    def hold_open(self, name: str, amount: float) -> None:
        """Open a contact, the door behind it, or turn its switch to hand at `amount` percent."""
        before, count = self._before.get(name, (self._chamber.contacts[name], 0))
        self._before[name] = (before, count + 1)
        self._set(name, False, amount)

    def back(self, name: str) -> None:
        """End that; the contact is as it was before the first."""
        before, count = self._before.pop(name)
        if count > 1:
            self._before[name] = (before, count - 1)
        elif before:
            self._set(name, True, 0.0)

    def _set(self, name: str, closed: bool, amount: float) -> None:
        head, _, tail = name.partition("_")
        if head == "door":
            self._chamber.set_door(int(tail.split("_")[0]), not closed)
        elif tail == "auto":
            self._chamber.set_hand(head, None if closed else amount)
        else:
            self._chamber.set_condition(name, closed)


def knob_of(fault: Fault) -> tuple[str, Turn] | None:
    """The knob that a fault turns, and how; None where it turns none."""
    amount = amount_of(fault)
    factor: dict[str, str] = {"belt-off": "fan_flow", "heat-lost": "heat_power"}
    if fault.kind == "half-power":
        return POWER[fault.target], lambda value: value * amount
    if fault.kind == "overfilled":
        return f"bay_air_{fault.target}", lambda value: value * amount
    if fault.kind == "draught":
        return f"draught_{fault.target}", lambda value: value + amount
    if fault.kind in factor:
        return factor[fault.kind], lambda value: value * amount
    return None


def contact_of(fault: Fault, heat: str = "water") -> str | None:
    """The contact that a fault opens in a chamber heated so, or None. A burner without gas locks out, and says so."""
    if fault.kind == "heat-lost":
        return "burner_healthy" if heat == "gas" and amount_of(fault) == 0.0 else None
    if fault.kind == "circuit-open":
        return CIRCUITS[fault.target]
    return {
        "door-open": f"door_{fault.target}_closed", "power-dip": "mains", "hand-left-on": f"{fault.target}_auto",
    }.get(fault.kind)  # fmt: skip
