"""After everything is healed: within a quarter of an hour the chamber is in its band again, or in a safe state that has
a name. Pure: it is given moments, it says what is missing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from controller.core.orders.procedure import AT_REST

# state -> its name, where the recipe is not being carried out
NAMED: dict[str, str] = {
    **dict.fromkeys(AT_REST, "the cycle is over"),
    "stopping": "the cycle is ending", "aborting": "the cycle is ending",
    "held": "the clock is stopped", "holding": "the clock is stopped",
    "paused": "the cycle is paused", "pausing": "the cycle is paused",
    "restarting": "the setpoint comes back",
}  # fmt: skip
IN_BAND, WAITING = "in the band", "the recipe waits for the chamber"
ON_ITS_WAY, VENTS, HEATS = "on its way to the band", "the vent gives what it can", "heat gives what it may"
VENT_SHARE = 0.8  # more than that is as good as all: the last of a damper's way gives little
STUCK = ("held", "holding", "paused", "pausing")


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """One scan as liveness sees it. air_degC: the true mean. waiting: the recipe's clock stands still for the chamber.
    vent_share: of all that the vent can give, what it is asked for. heat_limited: the controller says what limits heat.

    trips: tags of rows that are tripped though nothing is wrong any more and they go back by themselves.
    bad: how many readings are not good.
    """

    since_healed_s: float
    state: str
    air_degC: float
    floor_degC: float
    ceiling_degC: float
    waiting: bool = False
    vent_share: float = 0.0
    heat_limited: bool = False
    trips: tuple[str, ...] = ()
    bad: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Liveness:
    """within_s: so long after healing at the latest. band_K: so far outside its band the mean of the air may be.

    attended: people have come since, acknowledged, reset and restarted: then nothing may stand still. A charge that is
    far from its band is on its way when it is nearer by way_K than it was within the last way_s, to where the band is
    now: a phase that has just begun may have moved it.
    """

    within_s: float = 900.0
    band_K: float = 1.0
    attended: bool = False
    way_s: float = 600.0
    way_K: float = 0.02

    def missing(self, moments: Sequence[Moment]) -> str:
        """What is not as it should be at the first moment that counts or any later one; "" when all is well.

        No moment that counts is missing too: nobody has looked.
        """
        late = [n for n, moment in enumerate(moments) if moment.since_healed_s >= self.within_s]
        if not late:
            return f"nobody looked {self.within_s / 60.0:g} min after healing"
        return next((why for n in late if (why := self._why(moments, n))), "")

    def condition(self, moments: Sequence[Moment], n: int = -1) -> str:
        """The name of the state that a chamber is in at the n-th moment; "" for one that is neither in its band nor on
        its way there nor in a safe state."""
        moment = moments[n]
        named = NAMED.get(moment.state, "")
        if named:
            return named
        off_K = _off_K(moment, moment.air_degC)
        if off_K <= self.band_K:
            return IN_BAND
        if moment.waiting:
            return WAITING
        if moment.vent_share >= VENT_SHARE and moment.air_degC > moment.ceiling_degC:
            return VENTS
        if moment.heat_limited and moment.air_degC < moment.floor_degC:
            return HEATS
        if n < 0:
            n += len(moments)
        since_s = moment.since_healed_s - self.way_s
        lately = [one.air_degC for one in moments[:n] if one.since_healed_s >= since_s]
        return ON_ITS_WAY if any(_off_K(moment, air) - off_K >= self.way_K for air in lately) else ""

    def _why(self, moments: Sequence[Moment], n: int) -> str:
        moment = moments[n]
        after = f"{moment.since_healed_s / 60.0:.0f} min after healing"
        if moment.bad:
            return f"{after} {moment.bad} readings are still not good"
        if moment.trips:
            return f"{after} still tripped: {', '.join(moment.trips)}"
        if self.attended and moment.state in STUCK:
            return f"{after} people cannot get the cycle to go on: {moment.state}"
        if not self.condition(moments, n):
            band = f"{moment.floor_degC:.1f} to {moment.ceiling_degC:.1f} degC"
            return f"{after} the air has {moment.air_degC:.2f} degC, asked for {band}, and no safe state has a name"
        return ""


def _off_K(moment: Moment, air_degC: float) -> float:
    """How far an air is outside the band of this moment."""
    return max(moment.floor_degC - air_degC, air_degC - moment.ceiling_degC, 0.0)
