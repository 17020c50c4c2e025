"""What each order takes: its arguments, their ranges and an example, for whoever gives one and for their help.

Data only: the limits are held by whoever carries an order out, and a test holds these words to theirs. Where the
chamber file decides, it says so.
"""

from __future__ import annotations

from typing import NamedTuple

from controller.core.orders import verbs


class Argument(NamedTuple):
    """One argument. says: what it is, with range and unit; short: the same for a line that says what is missing."""

    name: str
    says: str
    needed: bool = True
    short: str = ""

    @property
    def form(self) -> str:
        """As it is written: name=VALUE, and what may stand there."""
        return f"{self.name}={self.short or self.name.upper()}"


class Form(NamedTuple):
    """does: what the order does. example: what stands after the verb; "" for one without arguments."""

    does: str
    arguments: tuple[Argument, ...] = ()
    example: str = ""


def missing(verb: str, given: frozenset[str]) -> tuple[str, ...]:
    """What an order needs and has not got, as it is written."""
    return tuple(one.form for one in FORMS[verb].arguments if one.needed and one.name not in given)


_HOURS = Argument("hours", "how long, above 0 to 12 h or what the chamber file allows (by_hand.hours_max)", short="H")
_REASON = Argument("reason", "why, at most 200 characters", short="TEXT")
_WHY = Argument("reason", "why", short="TEXT")
_ALARM = Argument("tag", "of the alarm", short="ALARM")
_BAY = Argument("bay", "of the chamber, from 1", short="N")
_LEVEL = Argument("level", "of that bay, from 1", short="N")

FORMS: dict[str, Form] = {
    "start": Form("begins the cycle", (
        Argument("recipe", "file, demo name or SHA-256 of a version at the desk", needed=False),
        Argument("load_t", "fresh product, t; at most a quarter more than nominal_t of the chamber file", needed=False),
        Argument("mix_degC", "temperature of the mix, 5 to 40 degC", needed=False),
        Argument("age_h", "age of the charge, 0 to 100 h", needed=False),
        Argument("mix", "name of a mix file", needed=False),
        Argument("empty_bays", 'bays without product, for example "1,2"', needed=False),
    ), "recipe=eco load_t=80"),
    "pause": Form("keeps the climate, the clock waits"),
    "resume": Form("goes on after a pause"),
    "hold": Form("stops the clock"),
    "restart": Form("goes on after a stopped clock, from where the chamber is"),
    "stop": Form("ends the cycle in order"),
    "abort": Form("ends the cycle at once"),
    "reset": Form("makes a cycle that is over ready for the next start"),
    verbs.NEXT_PHASE: Form("ends a fill, or a phase that a person ends", (
        Argument("phase", "its number, from 1: another one is not ended", needed=False),
    ), "phase=1"),
    verbs.RESET_TRIPS: Form("resets protections whose cause is gone"),
    verbs.ACKNOWLEDGE: Form("acknowledges an alarm, or all", (_ALARM._replace(needed=False),), "tag=humidity-low"),
    verbs.SILENCE: Form("silences the horn until something new comes"),
    verbs.SHELVE: Form("hides an alarm for a time", (
        _ALARM, Argument("hours", "how long, above 0 to 12 h", short="H"), _WHY,
    ), 'tag=humidity-low hours=1 reason="probe is cleaned"'),
    verbs.UNSHELVE: Form("shows a shelved alarm again", (_ALARM,), "tag=humidity-low"),
    verbs.WITHDRAW: Form("takes an alarm out of service, until in-service", (_ALARM, _WHY),
                         'tag=humidity-low reason="probe is away"'),
    verbs.RETURN: Form("puts an alarm back into service", (_ALARM,), "tag=humidity-low"),
    verbs.BYPASS: Form("takes a row of protection out of action, where it may be", (
        Argument("tag", "of the row", short="ROW"), _HOURS, _REASON,
    ), 'tag=fog-pressure hours=1 reason="pump is changed"'),
    verbs.END_BYPASS: Form("ends a bypass", (Argument("tag", "of the row, or all", short="ROW or all"),), "tag=all"),
    verbs.FORCE: Form("puts a point to a value", (
        Argument("tag", "of an input or output", short="POINT"),
        Argument("value", "in the unit and range of the point list; 0 or 1 of a contact", short="V"), _HOURS, _REASON,
    ), "tag=TT-110 value=20 hours=1 reason=trial"),
    verbs.SIMULATE: Form("puts a reading in place of what an input says", (
        Argument("tag", "of an input", short="POINT"),
        Argument("value", "in its unit, up to a quarter of its span outside its range", short="V"), _HOURS, _REASON,
    ), "tag=TT-110 value=20 hours=1 reason=trial"),
    verbs.RELEASE: Form("ends what is forced, simulated or trimmed", (
        Argument("tag", "of the point, temperature, humidity, or all", short="POINT or all"),
    ), "tag=TT-110"),
    verbs.MANUAL: Form("takes a loop into manual", (
        Argument("tag", "heat, fog, vent or fan", short="heat, fog, vent or fan"),
        Argument("value", "heat in kW, fog in kg/h, vent in kg/s, fan in percent; without it, as it is",
                 needed=False, short="V"),
        _HOURS, _REASON,
    ), "tag=fog value=10 hours=1 reason=trial"),
    verbs.AUTOMATIC: Form("gives a loop back", (
        Argument("tag", "heat, fog, vent, fan or all", short="heat, fog, vent, fan or all"),
    ), "tag=fog"),
    verbs.TRIM: Form("moves a setpoint while a recipe runs", (
        Argument("tag", "temperature or humidity", short="temperature or humidity"),
        Argument("value", "how far, K or %RH, at most what the chamber file allows either way (by_hand.trim_K_max, "
                 "trim_rh_pct_max)", short="K"),
        _HOURS, _REASON,
    ), "tag=temperature value=0.5 hours=2 reason=trial"),
    verbs.LOCK_OUT: Form("keeps every output that moves, heats or wets off; no isolation", (
        Argument("reason", "what is being done", short="TEXT"),
    ), 'reason="belt of the fan"'),
    verbs.LIFT: Form("lifts a lock", (
        Argument("of", "whose; without it your own", needed=False, short="NAME"),
        Argument("reason", "why, needed for the lock of another", needed=False, short="TEXT"),
    ), 'of=ben reason="asked by phone"'),
    verbs.CHARGE: Form("boards come to a place", (
        _BAY, _LEVEL, Argument("tonnes", "up to what the place holds, t", short="T"),
        Argument("degC", "of the boards, 0 to 60 degC", short="T"),
        Argument("age_h", "they came older, 0 to 1000 h", needed=False),
        Argument("mix", "its name, one that control was given (run --mix, --other-mix)", needed=False),
        Argument("settled", "yes for boards that have stood in this climate", needed=False),
    ), "bay=1 level=2 tonnes=0.5 degC=20"),
    verbs.DISCHARGE: Form("boards leave a place", (_BAY, _LEVEL), "bay=1 level=2"),
    verbs.DONE: Form("an item of what is due is done", (
        Argument("item", "its tag", short="TAG"),
        Argument("note", "at most 500 characters", needed=False, short="TEXT"),
    ), 'item=beacon-test note="all lamps lit"'),
}  # fmt: skip
