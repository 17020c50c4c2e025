"""What rows of protection and alarms say where their cause or their remedy hangs on the kind of heater.

The rows are written for hot water. Who stands before a burner is not told to look at a valve that is not there.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal, NamedTuple, TypeVar

from controller.core.rows.alarms import AlarmRow
from controller.core.rows.protection import Row

HeatKind = Literal["water", "electric", "gas", "steam"]
AnyRow = TypeVar("AnyRow", Row, AlarmRow)


class Said(NamedTuple):
    """Cause and action in place of a row's own."""

    cause: str
    action: str


_WORDS: dict[str, dict[str, Said]] = {
    "gas": {
        "air-too-hot": Said(
            "a burner that does not go out, or more hydration heat than the vent can carry",
            "shut the gas at the burner, look at the vent; reset trips when it is cooler"),
        "supply-too-hot": Said(
            "too little air over the exchanger, a fire that stays high, or no reading of the supply",
            "look at fan, burner and supply probe, then reset trips and restart"),
        "temperature-low": Said(
            "burner locked out or without gas, heating in hand or off, door leaking, colder product than entered",
            "look at the burner control and at the doors; find out why a burner locked out before resetting it"),
        "temperature-high": Said(
            "burner that does not go out, vent not opening, more hydration heat than the vent can carry",
            "look at burner and vent"),
        "fighting": Said(
            "more water from the product than the chamber can carry, a leaking damper, or too large a least fire",
            "slower ramp or drier mix; look at burner and damper"),
    },
    "electric": {
        "air-too-hot": Said(
            "a contactor that does not open, or more hydration heat than the vent can carry",
            "switch the elements off at their isolator, look at the vent; reset trips when it is cooler"),
        "supply-too-hot": Said(
            "too little air over the elements, a contactor that does not open, or no reading of the supply",
            "look at fan, contactors and supply probe, then reset trips and restart"),
        "temperature-low": Said(
            "fuse or element gone, heating in hand or off, door leaking, colder product than entered",
            "look at the elements' fuses and at the doors"),
        "temperature-high": Said(
            "contactor that does not open, vent not opening, more hydration heat than the vent can carry",
            "look at contactors and vent"),
        "fighting": Said(
            "the product gives off more water than the chamber can carry, a damper leaks, or a stage stays on",
            "slower ramp or drier mix; look at contactors and damper"),
    },
    "steam": {
        "supply-too-hot": Said(
            "too little air where the steam is blown in, or a valve stuck open",
            "look at fan and steam valve, then reset trips and restart"),
        "air-too-hot": Said(
            "a steam valve stuck open, or more hydration heat than the vent can carry",
            "close the hand valve of the steam, look at the vent; reset trips when it is cooler"),
        "temperature-low": Said(
            "no steam, heating in hand or off, nothing cold may get wet, door leaking, colder product than entered",
            "look at the steam supply and at the doors"),
    },
}  # fmt: skip


def worded(rows: tuple[AnyRow, ...], kind: HeatKind) -> tuple[AnyRow, ...]:
    """The rows with the words for this kind of heater; those for hot water are as they stand."""
    words = _WORDS.get(kind, {})
    return tuple(replace(row, **words[row.tag]._asdict()) if row.tag in words else row for row in rows)
