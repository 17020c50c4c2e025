"""Fillings made by rule: a chamber filled once after an empty start, and one that is filled and emptied every shift.

Boards leave the press one after the other; a trip carries those of a few positions of one bay, opens its door, takes
out what stands there, places the new and closes. So the first board of a trip has waited for the last, in the air of
the hall: its temperature approaches the hall's as a first-order lag, and it ages by Arrhenius at the temperature it
has half-way. Its own heat and its drying while it waits are left out. Pure: the same arguments, the same moves.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, inf
from random import Random
from typing import Literal

from plantsim.filling import Batch, Filling, Move, in_order
from plantsim.kernel.hydration import REPORTED_J_PER_MOL, rate
from plantsim.kernel.jit import python_of

Place = tuple[int, int]
HOUR_S = 3600.0
TAKEN_S, PLACED_S = 15.0, 30.0  # after the door opened, the first position of a trip
TAKE_EACH_S = 2.0  # between one position and the next


@dataclass(frozen=True, slots=True, kw_only=True)
class Press:
    """What comes from the press, and the hall it waits in. tonnes: for one position.

    degC drifts by drift_K_per_h from the begin of each shift and scatters by scatter_K (one standard deviation);
    mixes: pressed one after the other in equal parts of a shift. lag_h: time constant of product with board in still
    air, about 2.2 MJ/K over 42 m2 at 7 W/m2K a position of the demo chamber (computed).
    """

    tonnes: float = 5.0 / 3.0
    degC: float = 20.0
    drift_K_per_h: float = 0.0
    scatter_K: float = 0.0
    mixes: tuple[str, ...] = ("",)
    hall_degC: float = 18.0
    lag_h: float = 2.1

    def batch(self, into_shift_h: float, wait_h: float, mix: str, random: Random) -> Batch:
        """One position's product, pressed so long after the shift began, when it enters after its wait."""
        pressed = self.degC + self.drift_K_per_h * into_shift_h
        if self.scatter_K > 0.0:
            pressed += random.gauss(0.0, self.scatter_K)
        age_h = wait_h * _rate(self._cooled(pressed, 0.5 * wait_h))
        return Batch(self.tonnes, self._cooled(pressed, wait_h), age_h, mix)

    def _cooled(self, pressed_degC: float, wait_h: float) -> float:
        return self.hall_degC + (pressed_degC - self.hall_degC) * exp(-wait_h / self.lag_h)


@dataclass(frozen=True, slots=True, kw_only=True)
class Trips:
    """How boards are carried. positions: of one bay at a time; order "bay": a bay is filled up before the next one is
    begun; "level": each trip goes to the next bay. door_s: from opening to closing. ride_h: from press to chamber;
    first_wait_h: so much longer on the first trip of a shift.
    """

    positions: int = 3
    order: Literal["bay", "level"] = "bay"
    door_s: float = 90.0
    ride_h: float = 0.1
    first_wait_h: float = 0.0

    def of(self, bays: list[int], levels: int) -> list[list[Place]]:
        """The positions of each trip, in the order of the trips."""
        if not 1 <= self.positions <= levels:
            raise ValueError(f"{self.positions} positions a trip: must be 1 to {levels}, the levels of the chamber")
        least_s = PLACED_S + TAKE_EACH_S * self.positions
        if not least_s <= self.door_s < inf:
            raise ValueError(f"door_s {self.door_s}: a trip of {self.positions} needs at least {least_s:g} s")
        groups = [range(low, min(low + self.positions, levels + 1)) for low in range(1, levels + 1, self.positions)]
        if self.order == "bay":
            return [[(bay, level) for level in group] for bay in bays for group in groups]
        return [[(bay, level) for level in group] for group in groups for bay in bays]


def batch_fill(
    bays: int,
    levels: int,
    *,
    hours: float = 3.0,
    press: Press | None = None,
    trips: Trips | None = None,
    empty_bays: tuple[int, ...] = (),
    seed: int = 1,
) -> Filling:
    """Fill an empty chamber, once: pressing lasts `hours` from time 0. ValueError for what cannot be."""
    trips = trips or Trips()
    ways = trips.of([bay for bay in range(1, bays + 1) if bay not in empty_bays], levels)
    return in_order(_shift(ways, set(), 0.0, hours, press or Press(), trips, Random(seed)))


def continuous(
    bays: int,
    levels: int,
    *,
    days: int = 3,
    shift: tuple[float, float] = (6.0, 14.0),
    clock_h: float = 5.0,
    positions_a_day: int | None = None,
    full: bool = True,
    inside_degC: float = 32.0,
    press: Press | None = None,
    trips: Trips | None = None,
    seed: int = 1,
) -> Filling:
    """A shift of boards a day, the oldest taken out for the newest.

    clock_h: time of day at time 0; shift: from and to, hours of the day; positions_a_day: at least so many in a shift
    (trips are whole), all of the chamber when None. full: at time 0 stands what the days before would have left, at
    inside_degC and as old as that makes it; otherwise the chamber begins empty. ValueError for what cannot be.
    """
    press, trips, random = press or Press(), trips or Trips(), Random(seed)
    if not 0.0 <= shift[0] < shift[1] <= 24.0:
        raise ValueError(f"shift {shift[0]:g} to {shift[1]:g} h: must lie within one day, from before to")
    ways = trips.of(list(range(1, bays + 1)), levels)
    wanted = bays * levels if positions_a_day is None else positions_a_day
    if not 1 <= wanted <= bays * levels:
        raise ValueError(f"{wanted} positions a day: must be 1 to {bays * levels}, those of the chamber")
    before = -(-bays * levels // wanted) + 1 if full else 0  # days after which every position was filled once
    moves: list[Move] = []
    there: set[Place] = set()
    first = 0
    for day in range(-before, days):
        chosen: list[list[Place]] = []
        while sum(map(len, chosen)) < wanted:
            chosen.append(ways[first % len(ways)])
            first += 1
        made = _shift(chosen, there, shift[0] - clock_h + 24.0 * day, shift[1] - shift[0], press, trips, random)
        if made[0].time_s < 0.0 <= made[-1].time_s or made[0].time_s < 0.0 <= day:
            raise ValueError(f"clock_h {clock_h:g}: time 0 must lie after one shift and before the next")
        moves += made
    return in_order([*_standing(moves, inside_degC), *(move for move in moves if move.time_s >= 0.0)])


def _shift(
    ways: list[list[Place]],
    there: set[Place],
    begin_h: float,
    hours: float,
    press: Press,
    trips: Trips,
    random: Random,
) -> list[Move]:
    """The moves of one shift. there: positions with product, brought up to date."""
    count = sum(map(len, ways))
    each_h = hours / count
    moves: list[Move] = []
    done, free_s = 0, -inf
    for number, way in enumerate(ways):
        ready_h = begin_h + (done + len(way)) * each_h + trips.ride_h + (trips.first_wait_h if number == 0 else 0.0)
        opens_s = max(float(round(ready_h * HOUR_S)), free_s)
        enters_h = opens_s / HOUR_S - begin_h
        bay = way[0][0]
        moves.append(Move(opens_s, "open", bay))
        for n, (_, level) in enumerate(way):
            pressed_h = (done + n + 1) * each_h
            mix = press.mixes[(done + n) * len(press.mixes) // count]
            batch = press.batch(pressed_h, enters_h - pressed_h, mix, random)
            if (bay, level) in there:
                moves.append(Move(opens_s + TAKEN_S + TAKE_EACH_S * n, "take", bay, level))
            moves.append(Move(opens_s + PLACED_S + TAKE_EACH_S * n, "place", bay, level, batch))
            there.add((bay, level))
        moves.append(Move(opens_s + trips.door_s, "close", bay))
        free_s = opens_s + trips.door_s + 1.0  # one trip after the other
        done += len(way)
    return moves


def _standing(moves: list[Move], inside_degC: float) -> list[Move]:
    """What the moves before time 0 left, placed at time 0 with the age it has by then at inside_degC."""
    last = {(m.bay, m.level): (m.time_s, m.batch) for m in moves if m.time_s < 0.0 and m.batch is not None}
    found = []
    for (bay, level), (time_s, batch) in last.items():
        age_h = batch.age_h - time_s / HOUR_S * _rate(inside_degC)
        found.append(Move(0.0, "place", bay, level, Batch(batch.tonnes, inside_degC, age_h, batch.mix)))
    return found


def _rate(temperature_degC: float) -> float:
    """Speed of maturing relative to 20 degC, with the activation energy at which ages are reported."""
    return python_of(rate)(temperature_degC, REPORTED_J_PER_MOL)
