"""One run of a campaign, drawn from its seed: chamber, recipe, load, weather, where it begins, what goes wrong, and
what people order. Every number comes from (seed, purpose) by counting, the same in every process.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import log
from typing import TypeVar

from controller.core.frames import Command
from controller.core.orders.verbs import HIDING
from controller.core.rows.alarms import ALARMS
from controller.rig.campaign import moments
from controller.rig.campaign.bases import BASES, MILD, SUMMER, WINTER, Air, Base, params_of, session_of
from controller.rig.campaign.moments import Moment
from controller.rig.wires import places
from plantsim.faults import Fault, draw
from plantsim.kernel.noise import step_key, uniform

T = TypeVar("T")
HEAL_S = 1800.0  # the last part of a run, in which nothing is wrong any more
AFRESH_SHARE = 0.25  # of the seeds begin a cycle of their own, with their own charge
ATTENDED_SHARE = 0.5  # of the seeds have people who come after everything is healed
WHO = "people"
# what people order while things go wrong, in the weights of their list: mostly they try to get on
VERBS = (
    "acknowledge", "acknowledge", "reset-trips", "reset-trips", "reset-trips", "restart", "restart", "restart",
    "resume", "hold", "pause", "reset", "start", "next-phase", "stop", "abort", *HIDING, "silence",
)  # fmt: skip
ANEW_SHARE = 0.5
HASTE_LO, HASTE_HI = 0.5, 12.0  # orders an hour, assumed


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One run. base: the chamber and its files; moment: where it begins, None = a cycle of its own, from idle.

    heal_s: after it nothing is wrong any more, None = things are wrong to the end. orders: (scan, order). attended:
    people come after healing, and restart.
    """

    seed: int
    base: Base
    moment: Moment | None
    outdoor: Air
    hours: float
    scan_s: float
    heal_s: float | None
    faults: tuple[Fault, ...]
    orders: tuple[tuple[int, Command], ...]
    attended: bool


def base_of(seed: int) -> str | None:
    """Name of the base that a seed branches off from, None for one that begins afresh."""
    if number(seed, "afresh") < AFRESH_SHARE:
        return None
    return pick(seed, "base", tuple(BASES))


def case_of(seed: int, hours: float, scan_s: float) -> Case:
    """The run of a seed. Its base is simulated first when that has not been done."""
    name = base_of(seed)
    moment = None if name is None else pick(seed, "moment", moments.known(name, scan_s))
    base = _own_base(seed) if name is None else BASES[name]
    heal_s = max(0.0, hours * 3600.0 - HEAL_S)
    attended = number(seed, "attended") < ATTENDED_SHARE
    faults = healed(drawn(seed, base, scan_s, heal_s / 3600.0), heal_s, scan_s)
    orders = _people(seed, heal_s, scan_s) + (after_healing(heal_s, scan_s) if attended else [])
    return Case(
        seed=seed, base=base, moment=moment, outdoor=pick(seed, "weather", (base.outdoor, MILD, SUMMER, WINTER)),
        hours=hours, scan_s=scan_s, heal_s=heal_s, faults=faults, orders=tuple(orders), attended=attended,
    )


def drawn(seed: int, base: Base, scan_s: float, hours: float) -> tuple[Fault, ...]:
    """Faults of every room that this chamber and its panel can have."""
    session = session_of(base, scan_s)
    where = places(params_of(base.plant), session.bundle.points, session.image)
    return draw(seed, hours, where, dt_s=scan_s)


def healed(faults: Sequence[Fault], heal_s: float, scan_s: float) -> tuple[Fault, ...]:
    """The same, none of them lasting beyond the healing."""
    last_s = heal_s - scan_s
    kept = [fault for fault in faults if fault.start_s < last_s]
    return tuple(
        replace(fault, length_s=max(scan_s, heal_s - fault.start_s)) if fault.end_s > heal_s else fault
        for fault in kept
    )


def after_healing(heal_s: float, scan_s: float) -> list[tuple[int, Command]]:
    """People come: they acknowledge, reset, and let the cycle go on. What does not fit the state is refused."""
    steps = ((60.0, "acknowledge"), (90.0, "reset-trips"), (120.0, "restart"), (130.0, "resume"), (240.0, "restart"))
    return [
        (round((heal_s + at_s) / scan_s), Command(f"after-{n}-{verb}", verb, WHO))
        for n, (at_s, verb) in enumerate(steps)
    ]


def number(seed: int, purpose: str, n: int = 0) -> float:
    """Inside (0, 1): the n-th of its purpose."""
    return uniform(step_key(seed, zlib.crc32(f"campaign {purpose}".encode())), n)


def pick(seed: int, purpose: str, among: Sequence[T], n: int = 0) -> T:
    """One of several, evenly."""
    return among[int(number(seed, purpose, n) * len(among))]


def _own_base(seed: int) -> Base:
    """A chamber with a charge of this seed's own."""
    like = BASES[pick(seed, "like", tuple(BASES))]
    empty = tuple(bay for bay in range(1, 7) if number(seed, "empty", bay) < 0.12)
    return replace(
        like,
        filled=False,
        recipe=pick(seed, "recipe", ("gentle", "fast", "eco", "steady", "standing")),
        tonnes=round(20.0 + 100.0 * number(seed, "tonnes"), 1),
        mix_degC=round(8.0 + 24.0 * number(seed, "mix"), 1),
        empty_bays=empty if len(empty) < 6 else (),
    )


def _people(seed: int, until_s: float, scan_s: float) -> list[tuple[int, Command]]:
    """Orders at random times, as many an hour as this seed's people are hasty. Half of the time they see to it that a
    cycle runs again afterwards."""
    per_h = HASTE_LO * (HASTE_HI / HASTE_LO) ** number(seed, "haste")
    found: list[tuple[int, Command]] = []
    time_s, n = 0.0, 0
    while True:
        time_s -= 3600.0 * log(number(seed, "pause", n)) / per_h
        if time_s >= until_s:
            return found
        verb = pick(seed, "verb", VERBS, n)
        verbs = (verb, "reset", "start") if number(seed, "anew", n) < ANEW_SHARE else (verb,)
        for after_s, verb in zip((0.0, 30.0, 60.0), verbs, strict=False):
            scan = round((time_s + after_s) / scan_s)
            found.append((scan, Command(f"people-{n}-{verb}", verb, WHO, _args(seed, verb, n))))
        n += 1


def _args(seed: int, verb: str, n: int) -> tuple[tuple[str, str | float | bool], ...]:
    """What an order about an alarm needs; some of it is refused."""
    if verb not in HIDING:
        return ()
    tag = pick(seed, "tag", ALARMS, n).tag
    hours = (("hours", round(13.0 * number(seed, "hours", n), 2)),) if verb == "shelve" else ()
    return (*hours, ("reason", "drawn"), ("tag", tag))
