"""Faults for a simulated chamber, from a file or drawn from a seed, and in words for people.

Every kind of the table but those of the computer itself: sensors, actuators, plant, wire, people.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Final

from annotated_types import Len, MaxLen

from controller.config import files, loader, tomltext
from controller.config.find import find
from controller.config.loader import Loaded
from controller.errors import ConfigError, Problem
from controller.rig.faults.hostfaults import HOST
from plantsim.faults import KINDS, Fault, Places, amount_of, objections, said

SEED = "seed:"
_WHERE = re.compile(r"^fault\.(\d+)")


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultFile:
    """What happens, and when. text: for people."""

    text: Annotated[str, MaxLen(200)] = ""
    fault: Annotated[tuple[Fault, ...], Len(1, 200)]


def read(path: Path) -> Loaded[FaultFile]:
    """The faults in a file. Raises ConfigError with all its problems; whether they fit a chamber is asked later."""
    return loader.read(path, FaultFile)


def faults_of(asked: str, places: Places, *, hours: float, dt_s: float) -> tuple[Fault, ...]:
    """Faults of a file, a demo name or "seed:N", for these places. Raises ConfigError with everything that is wrong."""
    if asked.startswith(SEED):
        from plantsim.faults import draw  # needs the kernel, which reading a file does not

        number = asked.removeprefix(SEED)
        if not number.isdigit():
            raise ConfigError([Problem("command line", "--faults", asked, "must be seed:N", "for example seed:7")])
        return draw(int(number), hours, places, dt_s=dt_s)
    return fitting(find("faults", asked), places).value.fault


def fitting(path: Path, places: Places) -> Loaded[FaultFile]:
    """The faults in a file, all of which fit these places. Raises ConfigError with everything wrong at once: what is
    no fault by its form, and of the others what does not fit."""
    wrong: list[Problem] = []
    try:
        found = read(path)
        faults = found.value.fault
    except ConfigError as error:
        wrong, faults = list(error.problems), _as_far_as_read(path)
    said_already = {problem.field for problem in wrong}
    for one in objections(faults, places):
        rest = (one.limit, one.remedy) if one.value not in HOST else _of_host(one.value)
        problem = Problem(str(path), _WHERE.sub(r"fault[\1]", one.field), one.value, *rest)
        wrong += [problem] if problem.field not in said_already else []
    if wrong:
        raise ConfigError(wrong)
    return found


def _as_far_as_read(path: Path) -> tuple[Fault, ...]:
    """Every fault of a file that is not right in form, with what can be understood of it. Raises ConfigError for a
    file that is no TOML at all."""
    rows = tomltext.read(files.decode(files.read_bytes(path), str(path)), str(path)).get("fault")
    understood = []
    for row in rows if isinstance(rows, list) else []:
        given = row if isinstance(row, dict) else {}
        kind, target, amount = (given.get(name) for name in ("kind", "target", "amount"))
        understood.append(
            Fault(
                kind=kind if isinstance(kind, str) else "",
                target=target if isinstance(target, str) else "",
                amount=amount if isinstance(amount, int | float) and not isinstance(amount, bool) else None,
            )
        )
    return tuple(understood)


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
    """Every kind that may be asked for, a line each under the room that it belongs to; then what may not, and why."""
    width = max(map(len, KINDS))
    lines = [f"  {'kind':<{width}}  {'target':<9} what it does, with the usual amount"]
    room = ""
    for kind in KINDS.values():
        if kind.room != room:
            room = kind.room
            lines += ["", f"{ROOMS[room]}"]
        target = f"[{kind.target}]" if kind.target == "device" else kind.target or "-"
        amount = f" (amount: {kind.lo:g} to {kind.hi:g} {kind.unit}".rstrip() + ")" if kind.hi != kind.lo else ""
        lines.append(f"  {kind.name:<{width}}  {target:<9} {said(kind.name, kind.usual)}{amount}")
    lines += ["", "the computer itself (not in a file of faults: each is tried by tests of its own)"]
    lines += [f"  {name:<{width}}  -         {what}: {where}" for name, (what, where) in HOST.items()]
    return lines


ROOMS: Final = {
    "sensor": "sensors (probe: tag of an analog input; humidity: of one that sees humidity)",
    "actuator": "actuators (drive: fan, heat, vent, fog-a, fog-b, frames; throttle, witness: fan, heat, vent)",
    "plant": "chamber and supplies (door, bay: number of the bay; circuit: one of the panel, a wrong one names them)",
    "wire": "the wire to the panel (device: one of several by its name, or left out; word: tag, or number of the word)",
    "operator": "people at the panel or at a screen (switch: fan, heat, fog)",
}


def _of_host(kind: str) -> tuple[str, str]:
    what, where = HOST[kind]
    return f"is a fault of the computer ({what}), not of what it controls", f"leave it out; it is tried by {where}"
