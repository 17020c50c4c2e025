"""Faults drawn from a seed: each seed has its own kinds and its own rates, so that many seeds meet many mixtures.

A seed leaves about half of the kinds out. Of each that stays it draws a rate, evenly on a logarithmic scale between
RATE_LO and RATE_HI an hour, shared by all kinds together (so more kinds do not mean more faults), and with it times,
lengths, targets and amounts. Every number comes from (seed, kind, which one), by counting and not by a generator:
the same in every process, and leaving out a kind changes nothing about the others but their share.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Sequence
from math import exp, log

from plantsim.faults.fault import Fault
from plantsim.faults.fit import Places
from plantsim.faults.kinds import KINDS, Kind, kinds_of
from plantsim.kernel.noise import step_key, uniform

RATE_LO, RATE_HI = 0.2, 6.0  # faults an hour over all kinds of a seed: assumed, so that a day sees 5 to 150
LENGTH_LO_S, LENGTH_HI_S = 5.0, 1800.0
WIRE_SCANS_MAX_S = 30.0  # a wire that is bad for longer is a lost device: another matter
OPERATOR_LENGTH_S = 60.0
SHARE_OF_KINDS = 0.5
FAULTS_MAX = 2000


def draw(
    seed: int,
    hours: float,
    places: Places,
    kinds: Iterable[str] | None = None,
    *,
    dt_s: float = 1.0,
) -> tuple[Fault, ...]:
    """Faults of a seed within the first `hours`, by their start. kinds: to draw from, None = all.

    Starts and lengths are whole scans of dt_s. KeyError for an unknown kind.
    """
    among = [KINDS[name] for name in (kinds_of() if kinds is None else kinds)]
    picked = [kind for kind in among if _number(seed, kind, "in") < SHARE_OF_KINDS and places.of(kind)]
    found: list[Fault] = []
    for kind in picked:
        rate = RATE_LO * exp(log(RATE_HI / RATE_LO) * _number(seed, kind, "rate")) / len(picked)
        found += _of_kind(seed, kind, rate, hours, places, dt_s)
    return tuple(sorted(found, key=lambda fault: (fault.start_s, fault.kind, fault.target)))[:FAULTS_MAX]


def _of_kind(seed: int, kind: Kind, per_h: float, hours: float, places: Places, dt_s: float) -> list[Fault]:
    """Poisson arrivals of one kind; none begins before the one before it is over."""
    found: list[Fault] = []
    targets = places.of(kind)
    time_h = 0.0
    while True:
        n = len(found)
        time_h -= log(_number(seed, kind, "gap", n)) / per_h
        if time_h >= hours:
            return found
        length_s = _length_s(kind, _number(seed, kind, "length", n))
        found.append(
            Fault(
                kind=kind.name,
                target=targets[int(_number(seed, kind, "target", n) * len(targets))],
                start_s=_scans(3600.0 * time_h, dt_s),
                length_s=max(dt_s, _scans(length_s, dt_s)),
                amount=_amount(kind, _number(seed, kind, "amount", n)),
            )
        )
        time_h += length_s / 3600.0


def _length_s(kind: Kind, x: float) -> float:
    if kind.room == "operator" and kind.name != "hand-left-on":
        return OPERATOR_LENGTH_S
    longest = WIRE_SCANS_MAX_S if kind.room == "wire" else LENGTH_HI_S
    shortest = 1.0 if kind.room == "wire" else LENGTH_LO_S
    return shortest * exp(log(longest / shortest) * x)


def _amount(kind: Kind, x: float) -> float | None:
    """Between a third and three times the usual, either way where it has two, within its bounds."""
    if kind.lo == kind.hi == 0.0:
        return None
    if kind.name in ("bit-flip", "exception"):
        return _whole(kind, x)
    if kind.usual in (kind.lo, kind.hi) and kind.hi - kind.lo <= 100.0:
        return round(kind.lo + (kind.hi - kind.lo) * x, 3)
    size = abs(kind.usual) * exp(log(9.0) * (abs(2.0 * x - 1.0) if kind.lo < 0.0 else x)) / 3.0
    signed = -size if kind.lo < 0.0 and x < 0.5 else size
    return round(min(max(signed, kind.lo), kind.hi), 3)


def _whole(kind: Kind, x: float) -> float:
    codes: Sequence[int] = (1, 2, 3, 4, 6, 11) if kind.name == "exception" else range(16)
    return float(codes[int(x * len(codes))])


def _scans(time_s: float, dt_s: float) -> float:
    return round(time_s / dt_s) * dt_s


def _number(seed: int, kind: Kind, what: str, n: int = 0) -> float:
    """Inside (0, 1): the n-th of its purpose."""
    return uniform(step_key(seed, zlib.crc32(f"{kind.name} {what}".encode())), n)
