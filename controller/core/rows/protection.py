"""The cause-and-effect rows of the protection, as data: what each blocks, when, and what a person is told.

Hard-wired safety (emergency-stop chain, high limiter, person-inside chain) acts without us; those rows only follow
it, so that the record is right and nothing starts by itself when it comes back. Delays are common practice, no
source, save where the chamber file sets its own.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

# What a row takes away (bits of a mask), or opens.
HEAT, FOG, FAN, FRAME, VENT_OPEN, SAFE = 1, 2, 4, 8, 16, 32
LOCKED = HEAT | FOG | FAN | FRAME  # while somebody's lock hangs
EFFECTS: tuple[str, ...] = ("none", "door", "hold", "abort")  # weakest first; the strongest active one counts


@dataclass(frozen=True, slots=True)
class Row:
    """One cause and its effects.

    at_once: blocked while the cause is there, without delay.  delay_s: then it trips.  blocks: while tripped.
    effect: on the sequence while tripped.  latch: stays until reset, which is refused while the cause is there;
    an unlatched row goes back by itself release_s after its cause has gone.
    bypassable: people may leave it out for a time, with a name and a reason.
    """

    tag: str
    text: str
    at_once: int
    delay_s: float
    blocks: int
    effect: str
    latch: bool
    release_s: float
    priority: str
    cause: str
    consequence: str
    action: str
    bypassable: bool = False


ROWS: tuple[Row, ...] = (
    Row("emergency-stop", "emergency stop", 0, 0.0, HEAT | FOG | FAN | FRAME, "abort", True, 0.0, "high",
        "somebody pressed an emergency stop, or its wiring is open",
        "everything is off, the cycle is aborted",
        "make sure that nobody is in danger, release it at the device, reset trips, then reset the cycle"),
    Row("limiter", "hard-wired high limiter", 0, 0.0, HEAT | VENT_OPEN, "hold", True, 0.0, "high",
        "the independent limiter has switched the heating off",
        "no heat, clock stopped, exhaust open",
        "find out why it got so hot, reset the limiter at the panel, reset trips, restart"),
    Row("person-inside", "person inside", 0, 0.0, HEAT | FOG | FAN | FRAME | VENT_OPEN, "hold", True, 0.0, "high",
        "the push-button inside was pressed, or its wiring is open",
        "everything is off, exhaust open, clock stopped",
        "go there now; when everybody is out reset at the device, reset trips, restart"),
    Row("airflow-lost", "air flow lost", 0, 10.0, HEAT | FOG, "hold", True, 0.0, "high",
        "the fan does not run, or its flow is not proven: belt, breaker, drive fault, switch off",
        "no heat, no fog, clock stopped",
        "look at fan, drive and flow switch, then reset trips and restart"),
    Row("air-too-hot", "air too hot", 0, 5.0, HEAT | VENT_OPEN, "hold", True, 0.0, "high",
        "a valve stuck open, or more hydration heat than the vent can carry",
        "no heat, exhaust open, clock stopped",
        "close the hand valve of the heating, look at the vent; reset trips when it is cooler"),
    Row("supply-too-hot", "supply air too hot", 0, 10.0, HEAT, "hold", True, 0.0, "medium",
        "too little air over the coil, or a valve stuck open",
        "no heat, clock stopped",
        "look at fan and heating valve, then reset trips and restart"),
    Row("product-too-hot", "product too hot", 0, 60.0, HEAT | VENT_OPEN, "hold", True, 0.0, "high",
        "hydration heat of a warm or rich mix, vent not open",
        "no heat, exhaust open, clock stopped; above about 70 degC late expansion of the concrete threatens",
        "look at the vent; open doors if it rises further; reset trips when it is cooler"),
    Row("door-open", "door open", FOG, 30.0, HEAT | FOG, "door", False, 5.0, "medium",
        "a door is open or its switch is out of place",
        "no fog, no heat after a while; the clock stops where the recipe says so",
        "make sure that nobody is inside, close the door; restart if the clock is stopped"),
    Row("temperature-bad", "no good air temperature", HEAT, 5.0, HEAT, "hold", False, 60.0, "high",
        "too few good air temperature probes: wiring, supply, module",
        "no heat, clock stopped",
        "mend the probes; heat comes back by itself, the clock when restarted"),
    Row("humidity-bad", "no good humidity", FOG, 5.0, FOG, "hold", False, 60.0, "high",
        "too few good humidity probes: wiring, supply, soaked probe",
        "no fog, clock stopped; the product may dry",
        "mend the probes; fog comes back by itself, the clock when restarted"),
    Row("link-lost", "panel does not answer", 0, 0.0, SAFE, "hold", True, 0.0, "high",
        "network, power of the panel, or its coupler",
        "nothing is seen; the panel puts its outputs to their safe values by itself; clock stopped",
        "look at power and network of the panel, then reset trips and restart"),
    Row("watchdog", "panel put its outputs to safe values", SAFE, 0.0, SAFE, "hold", True, 0.0, "high",
        "the panel heard nothing from the controller for longer than its watchdog allows",
        "heat and fog were off meanwhile; clock stopped",
        "find out why the controller was silent, reset trips, restart"),
    Row("fog-pressure", "no fog water pressure", 0, 3.0, FOG, "none", True, 0.0, "medium",
        "pump, filter or water supply",
        "no fog; the product dries once it is warmer than the dew point",
        "look at supply, filter and pump, then reset trips", bypassable=True),
    Row("door-long", "door open for long", FOG, 600.0, FOG, "none", False, 5.0, "medium",
        "a door of a standing climate was left open, or its switch is out of place",
        "no fog anywhere, because its banks serve all bays; the climate of the bay is lost, its boards dry",
        "make sure that nobody is inside, close the door"),
    Row("fog-stale", "fog water is stale", 0, 0.0, FOG, "none", False, 0.0, "medium",
        "it stood still for too long, or its tank is not as cold as it must be: see what is due",
        "no fog, because stale water must not be breathed in; the product dries once it is warmer than the dew point",
        "flush or drain as what is due says, then say that it is done: fog comes back by itself"),
)
NUMBER: dict[str, int] = {row.tag: number for number, row in enumerate(ROWS)}
HARD_WIRED: tuple[str, ...] = ("emergency-stop", "limiter", "person-inside")  # they act without us, we follow


def taken(tags: Iterable[str]) -> int:
    """What the hard-wired circuits among these rows take away: bits."""
    mask = 0
    for tag in tags:
        mask |= TAKES.get(tag, 0)
    return mask


TAKES: dict[str, int] = {row.tag: row.blocks & LOCKED for row in ROWS if row.tag in HARD_WIRED}
