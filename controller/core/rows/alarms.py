"""The alarms as data: what each says, when it comes and goes, and how much it matters.

Limits are in `AlarmsConfig`; the order here is the order of the excesses that `alarms.update` forms. Every trip has a
row too, made from the protection's own. Delays and deadbands are starting values, common practice, no source; tune
them on a real trend.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.core.rows.protection import ROWS, Row

PRIORITIES: tuple[str, ...] = ("low", "medium", "high")


@dataclass(frozen=True, slots=True)
class AlarmRow:
    """One alarm. It comes when its excess has been 0 or more for on_s, and goes when it has been below -deadband for
    off_s (an unknown excess, NaN, changes nothing). latch: stays until acknowledged and reset, even when its cause has
    gone. working_only: judged only while a cycle is in progress. One of low priority that has gone needs nobody.
    """

    tag: str
    text: str
    priority: str
    on_s: float
    off_s: float
    deadband: float
    latch: bool
    working_only: bool
    cause: str
    consequence: str
    action: str


OWN: tuple[AlarmRow, ...] = (
    AlarmRow("dew-margin-low", "a surface is close to the dew point", "high", 120.0, 60.0, 0.05, False, True,
             "vent too small, ramp too fast, a cold surface, or more water from the product than can be carried away",
             "boards and racks get wet, drips stain the product",
             "look at the vent; slow the ramp; the surface that limits is named in the climate"),
    AlarmRow("drying-at-once", "the product dries fast", "high", 60.0, 60.0, 0.05, False, True,
             "fog missing, a door open, or vent open",
             "surface dust, cracks and pale product within the hour",
             "look at fog, doors and vent now"),
    AlarmRow("drying-mean", "the product has dried too much on average", "high", 60.0, 60.0, 0.005, False, True,
             "humidity too low for hours while the product was warmer than the dew point",
             "weaker and paler surfaces; the whole charge is in question",
             "look at fog and vent; have the charge judged before release"),
    AlarmRow("drying-warn", "the product dries more than it should on average", "medium", 60.0, 60.0, 0.005, False,
             True, "humidity low while the product is warmer than the dew point",
             "if it goes on, surfaces suffer",
             "look at fog nozzles, water and vent"),
    AlarmRow("humidity-low", "humidity below what the recipe accepts", "medium", 120.0, 120.0, 2.0, False, True,
             "nozzles blocked, no fog water, leak, vent open",
             "the product dries, because it is warmer than the dew point",
             "look at fog skid and nozzles"),
    AlarmRow("spread-high", "air temperatures differ too much", "low", 600.0, 300.0, 0.3, False, True,
             "fan slow or stopped, damper, rack in the way, a door leaking",
             "uneven colour and strength",
             "look at fans and louvres"),
    AlarmRow("temperature-low", "air below its floor", "medium", 1800.0, 300.0, 0.5, False, True,
             "no hot water, heating in hand or off, door leaking, colder product than entered",
             "the charge is ready later",
             "look at heat source and doors"),
    AlarmRow("temperature-high", "air above its ceiling", "medium", 900.0, 300.0, 0.5, False, True,
             "valve leaking, vent not opening, more hydration heat than the vent can carry",
             "product too hot, drying when it is vented",
             "look at valve and vent"),
    AlarmRow("waiting", "the recipe has waited too long for the chamber", "low", 0.0, 0.0, 0.0, False, True,
             "heater too weak for this charge, surfaces that stay cold, or humidity that cannot be carried away",
             "the charge is ready later",
             "see what the climate names as limiting; a gentler recipe may be quicker"),
    AlarmRow("clock-stopped", "the recipe's clock is stopped", "medium", 60.0, 0.0, 0.0, False, True,
             "somebody or a protection stopped it",
             "temperature and humidity are kept where nothing is blocked, but the cycle does not go on",
             "when the cause is gone, restart"),
    AlarmRow("fighting", "heat works against the vent", "low", 0.0, 600.0, 0.0, False, True,
             "the product gives off more water than the chamber can carry, or a valve or damper leaks",
             "energy and water are wasted, the ramp waits",
             "slower ramp or drier mix; look at valve and damper"),
    AlarmRow("product-left", "a cycle was broken off with product inside", "medium", 60.0, 0.0, 0.0, False, False,
             "somebody, a protection, a long outage or the air found after one ended it",
             "nothing keeps the climate: the product cools, gets wet or dries, and its surface is no longer sure",
             "have it judged; then reset and start anew with its age, or take it out"),
    AlarmRow("probe-bad", "a probe gives no good reading", "low", 5.0, 10.0, 0.0, False, False,
             "wiring, soaked or failed probe",
             "regulation goes on with the others, less sure",
             "mend or replace it; the list of probes says which"),
    AlarmRow("probe-frozen", "a probe does not move", "low", 0.0, 0.0, 0.0, False, False,
             "stuck transmitter, a gateway that repeats old values, or a simulation left on",
             "regulation goes on with the others, less sure",
             "compare it with its neighbours; the list of probes says which"),
    AlarmRow("probe-disagrees", "a probe disagrees with its siblings", "low", 0.0, 0.0, 0.0, False, False,
             "wrong range, drift, water on it, or a place that is not like the others",
             "regulation goes on with the others, less sure",
             "compare it with a good instrument; the journal says which and by how much"),
    AlarmRow("link-bad", "the panel answers late or not at all", "medium", 2.0, 10.0, 0.0, False, False,
             "network, panel without power",
             "values are old; outputs go to safe values if it lasts",
             "look at network and power of the panel"),
    AlarmRow("in-hand", "a drive is not in automatic", "low", 5.0, 5.0, 0.0, False, False,
             "its switch at the panel is in hand or off",
             "the controller cannot use it; the cycle is not judged as usual",
             "turn the switch back to automatic when the work is done"),
    AlarmRow("mains-bad", "mains supply reported bad", "medium", 2.0, 10.0, 0.0, False, False,
             "phase lost or battery supply",
             "drives may stop",
             "look at the supply"),
    AlarmRow("on-battery", "the controller runs on battery", "medium", 5.0, 10.0, 0.0, False, False,
             "mains lost; the battery carries panel and controller",
             "drives stand still; panel and controller go off when the battery is empty",
             "look at the mains; if they stay away, end the cycle in order and open what must not be shut"),
    AlarmRow("by-hand", "something is overridden by hand", "low", 0.0, 0.0, 0.0, False, False,
             "a row is bypassed, a point forced or simulated, or a loop in manual",
             "what is shown or done is not what the chamber would do by itself; the cycle deviates",
             "see the register for who, why and until when; end what is not needed any more"),
    AlarmRow("locked-out", "locked out", "medium", 0.0, 0.0, 0.0, False, False,
             "somebody works here and has hung a lock",
             "everything that moves, heats or wets stays off; no start, no reset",
             "ask those whose locks hang; each lifts their own when everybody is out"),
    AlarmRow("work-overdue", "a test or service is overdue", "low", 0.0, 0.0, 0.0, False, False,
             "nobody has said that it is done",
             "what is not tested may not work when it is needed",
             "see the list of what is due; do it, then say that it is done"),
    AlarmRow("air-missing", "the fan moves less air than it should", "low", 0.0, 0.0, 0.0, False, False,
             "slipping belt, clogged filter, a damper or something else in the way, or a wrong flow meter",
             "places differ more, boards lag behind the air, the charge is ready later",
             "look at belt, filter and dampers with the fan isolated; then at the flow meter"),
    AlarmRow("heat-leaks", "heat comes though it is shut", "medium", 0.0, 0.0, 0.0, False, False,
             "the heating does not shut: seat worn or dirty, drive off its stem, a welded contact, or a bypass open",
             "energy is wasted, the chamber gets warmer and drier than asked, with the controller off too",
             "shut the heating off by hand at its supply; mend it before the next charge"),
    AlarmRow("fog-leaks", "fog water flows though it is shut", "medium", 0.0, 0.0, 0.0, False, False,
             "a valve of a bank does not shut, or the meter counts what is drained",
             "boards and product get wet, drips stain the product",
             "close the hand valve of the fog water; look at valves, lines and nozzles"),
)
BY_HAND: tuple[str, ...] = ("by-hand", "locked-out")  # what people have done themselves is always shown

# What the runtime tells of itself, by the command "trouble"; the healthy relay drops as long as one of these is active.
TOLD: tuple[AlarmRow, ...] = (
    AlarmRow("scan-late", "the controller is late", "medium", 0.0, 0.0, 0.0, False, False,
             "another program uses this computer, or it is too weak",
             "control is slower than it should be; the panel's watchdog acts if it stops",
             "end what does not belong on this computer; see the journal for how late"),
    AlarmRow("record-failing", "the record cannot be written", "medium", 0.0, 0.0, 0.0, False, False,
             "disk full, failed or not allowed",
             "control goes on; what does not fit in memory is lost to the record",
             "see the journal for what the disk says"),
    AlarmRow("program-fault", "the program found itself at fault", "high", 0.0, 0.0, 0.0, True, False,
             "an invariant does not hold: a fault in the program or its files",
             "outputs went to safe values, the cycle was aborted",
             "report it with the record; acknowledge and reset trips before the next cycle"),
)
OWN += TOLD


def trip_of(row: Row) -> AlarmRow:
    """The alarm of a row of the protection: it stands as long as the row has tripped."""
    return AlarmRow(
        row.tag, row.text, row.priority, 0.0, 0.0, 0.0, False, False, row.cause, row.consequence, row.action
    )


TRIPS: tuple[AlarmRow, ...] = tuple(trip_of(row) for row in ROWS)
ALARMS: tuple[AlarmRow, ...] = OWN + TRIPS
