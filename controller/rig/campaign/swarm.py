"""One run of a campaign, drawn from its seed: chamber, recipe, load, weather, where it begins, what goes wrong, and
what people order. Every number comes from (seed, purpose) by counting, the same in every process.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from controller.core.frames import Command
from controller.rig.campaign import moments, people
from controller.rig.campaign.bases import BASES, MILD, SUMMER, WINTER, Air, Base, params_of, session_of
from controller.rig.campaign.chance import number, pick
from controller.rig.campaign.moments import Moment
from controller.rig.campaign.people import WHO
from controller.rig.faults.wires import places
from plantsim.faults import Fault, draw
from plantsim.remote_io import SCANS_PER_BLOCK_MAX

HEAL_S = 1800.0  # the last part of a run, in which nothing is wrong any more
AFRESH_SHARE = 0.25  # of the seeds begin a cycle of their own, with their own charge
ATTENDED_SHARE = 0.5  # of the seeds have people who come after everything is healed
AGAIN_SHARE = 0.5  # of these begin another cycle where the one before is over
OUTAGE_SHARE, OUTAGE_LO_S, OUTAGE_HI_S = 0.25, 4.0, 5400.0  # of the seeds lose their controller for so long: assumed
FIRST_GONE = 30  # scans, at the earliest


@dataclass(frozen=True, slots=True)
class Outage:
    """The controller is gone and comes back. crashed: without a last word to the panel."""

    start_s: float
    length_s: float
    crashed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One run. base: the chamber and its files; moment: where it begins, None = a cycle of its own, from idle.

    heal_s: after it nothing is wrong any more, None = things are wrong to the end. orders: (scan, order). attended:
    people come after healing, and restart. outage: the controller is gone meanwhile.
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
    outage: Outage | None = None


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
    orders = people.orders(seed, session_of(base, scan_s), heal_s, scan_s)
    if attended:
        orders += after_healing(heal_s, scan_s, number(seed, "again") < AGAIN_SHARE)
    outage = _outage(seed, heal_s, scan_s)
    return Case(
        seed=seed, base=base, moment=moment, outdoor=pick(seed, "weather", (base.outdoor, MILD, SUMMER, WINTER)),
        hours=hours, scan_s=scan_s, heal_s=heal_s, faults=faults, orders=tuple(orders), attended=attended,
        outage=outage,
    )


def drawn(seed: int, base: Base, scan_s: float, hours: float) -> tuple[Fault, ...]:
    """Faults of every room that this chamber and its panel can have."""
    session = session_of(base, scan_s)
    where = places(params_of(base.plant), session.bundle.points, session.image)
    return draw(seed, hours, where, dt_s=scan_s)


def _outage(seed: int, heal_s: float, scan_s: float) -> Outage | None:
    """When the controller of this seed is gone; it is back before the healing."""
    if number(seed, "outage") >= OUTAGE_SHARE:
        return None
    length_s = OUTAGE_LO_S * (OUTAGE_HI_S / OUTAGE_LO_S) ** number(seed, "outage length")
    missed = round(min(length_s / scan_s, 0.5 * heal_s / scan_s, SCANS_PER_BLOCK_MAX - 2))
    first = FIRST_GONE + round((heal_s / scan_s - missed - FIRST_GONE) * number(seed, "outage start"))
    return Outage(first * scan_s, missed * scan_s, number(seed, "crashed") < 0.5) if missed > 1 else None


def healed(faults: Sequence[Fault], heal_s: float, scan_s: float) -> tuple[Fault, ...]:
    """The same, none of them lasting beyond the healing."""
    last_s = heal_s - scan_s
    kept = [fault for fault in faults if fault.start_s < last_s]
    return tuple(
        replace(fault, length_s=max(scan_s, heal_s - fault.start_s)) if fault.end_s > heal_s else fault
        for fault in kept
    )


def after_healing(heal_s: float, scan_s: float, again: bool = False) -> list[tuple[int, Command]]:
    """People come: they acknowledge, reset, and let the cycle go on; again: or begin another one. What does not fit the
    state is refused."""
    steps = [
        (60.0, "acknowledge"), (90.0, "reset-trips"), (120.0, "restart"), (130.0, "resume"),
        *([(150.0, "reset"), (160.0, "start")] if again else []),
        (230.0, "reset-trips"), (240.0, "restart"),
    ]  # fmt: skip
    return [
        (round((heal_s + at_s) / scan_s), Command(f"after-{n}-{verb}", verb, WHO))
        for n, (at_s, verb) in enumerate(steps)
    ]


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
