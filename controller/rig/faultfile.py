"""Faults for a simulated chamber, from a file or drawn from a seed, and in words for people.

Only what happens in the chamber and at its panel: sensors, actuators, the plant, a switch left in hand. Faults of
the wire and orders of people at a screen are kinds of the table too, but a cycle is not disturbed by them here.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from annotated_types import Len, MaxLen

from controller.config import loader
from controller.config.find import find
from controller.config.loader import Loaded
from controller.errors import ConfigError, Problem
from plantsim.faults import KINDS, Fault, amount_of, draw, kinds_of, objections, places_of, said
from plantsim.params import PlantParams

HERE = (*kinds_of("sensor", "actuator", "plant"), "hand-left-on")
SEED = "seed:"


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultFile:
    """What happens, and when. text: for people."""

    text: Annotated[str, MaxLen(200)] = ""
    fault: Annotated[tuple[Fault, ...], Len(1, 200)]


def read(path: Path) -> Loaded[FaultFile]:
    """The faults in a file. Raises ConfigError with all its problems; whether they fit a chamber is asked later."""
    return loader.read(path, FaultFile)


def faults_of(asked: str, params: PlantParams, *, hours: float, dt_s: float) -> tuple[Fault, ...]:
    """Faults of a file, a demo name or "seed:N", for this chamber. Raises ConfigError with everything that is wrong."""
    places = places_of(params)
    if asked.startswith(SEED):
        number = asked.removeprefix(SEED)
        if not number.isdigit():
            raise ConfigError([Problem("command line", "--faults", asked, "must be seed:N", "for example seed:7")])
        return draw(int(number), hours, places, HERE, dt_s=dt_s)
    path = find("faults", asked)
    faults = read(path).value.fault
    wrong = [Problem(str(path), one.field, one.value, one.limit, one.remedy) for one in objections(faults, places)]
    wrong += [
        Problem(str(path), f"fault.{number}.kind", one.kind, "is none of chamber or panel", f"known: {_listed()}")
        for number, one in enumerate(faults)
        if one.kind in KINDS and one.kind not in HERE
    ]
    if wrong:
        raise ConfigError(wrong)
    return faults


def listed(faults: tuple[Fault, ...], until_s: float) -> list[dict[str, Any]]:
    """What acted until then, for summary.json."""
    return [
        {
            "kind": one.kind,
            "target": one.target,
            "from_s": one.start_s,
            "to_s": min(one.end_s, until_s),
            "text": said(one.kind, amount_of(one)),
        }
        for one in faults
        if one.start_s < until_s
    ]


def catalogue() -> list[str]:
    """One line for each kind that may be asked for here."""
    width = max(map(len, HERE))
    return [f"{name:<{width}}  {KINDS[name].target or '-':<9} {said(name, KINDS[name].usual)}" for name in HERE]


def _listed() -> str:
    return ", ".join(HERE)
