"""Do faults fit a chamber? Everything wrong with them at once, in words: field, value, limit, remedy."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from plantsim.faults.fault import Fault
from plantsim.faults.kinds import KINDS, Kind
from plantsim.params import PlantParams

DRIVES = ("fan", "heat", "vent", "fog-a", "fog-b", "frames")
THROTTLES = ("fan", "heat", "vent")
SWITCHES = ("fan", "heat", "fog")
# target -> contact of the chamber; burner: of one that is heated with gas
CIRCUITS = {
    "emergency-stop": "estop_healthy", "person-inside": "person_healthy", "fog-pressure": "fog_pressure",
    "heat-enabled": "heat_enabled", "fan-isolator": "fan_isolator", "heat-isolator": "heat_isolator",
    "fog-isolator": "fog_isolator", "burner": "burner_healthy",
}  # fmt: skip
WORDS_MAX = 122


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """What a chamber has that a fault may strike. probes: tag -> what it sees; words: tags of channels with a word.

    word_count: words of the input block that may be named by number, 0 on a panel of several devices.
    devices: their names, if there are several. circuits: of CIRCUITS.
    """

    probes: Mapping[str, str]
    bays: int
    doors: Sequence[int] = ()
    words: Sequence[str] = ()
    word_count: int = WORDS_MAX + 1
    devices: Sequence[str] = ()
    circuits: Sequence[str] = tuple(CIRCUITS)

    def of(self, kind: Kind) -> tuple[str, ...]:
        """All targets that a kind may have here; ("",) where it needs none."""
        targets: dict[str, Iterable[str]] = {
            "": ("",),
            "probe": self.probes,
            "humidity": (tag for tag, sees in self.probes.items() if sees == "rh"),
            "drive": DRIVES,
            "throttle": THROTTLES,
            "witness": THROTTLES,
            "bay": map(str, range(1, self.bays + 1)),
            "door": map(str, self.doors or range(1, self.bays + 1)),
            "device": ("", *self.devices),
            "word": (*self.words, *map(str, range(self.word_count))),
            "switch": SWITCHES,
            "circuit": self.circuits,
        }
        return tuple(targets[kind.target])


@dataclass(frozen=True, slots=True)
class Objection:
    """One thing wrong. field: as it stands in a file of faults."""

    field: str
    value: str
    limit: str
    remedy: str

    def __str__(self) -> str:
        return f"{self.field} {self.value}: {self.limit}; {self.remedy}"


def places_of(params: PlantParams) -> Places:
    """The places of a chamber model; what its panel has is not known here."""
    return Places(
        probes={probe.tag: probe.sees for probe in params.probe},
        bays=params.room.bays,
        doors=tuple(getattr(params.hall, "doors", ())),
        circuits=tuple(name for name in CIRCUITS if name != "burner" or params.heat.kind == "gas"),
    )


def objections(faults: Sequence[Fault], places: Places) -> list[Objection]:
    """Everything that is wrong with faults for these places, in their order; empty = they fit."""
    found: list[Objection] = []
    for number, fault in enumerate(faults):
        where = f"fault.{number}"
        kind = KINDS.get(fault.kind)
        if kind is None:
            near = difflib.get_close_matches(fault.kind, KINDS, 1)
            remedy = f"did you mean {near[0]}?" if near else f"known: {', '.join(KINDS)}"
            found.append(Objection(f"{where}.kind", fault.kind, "is no kind of fault", remedy))
            continue
        found += _amount(where, fault, kind)
        found += _target(where, fault, kind, places)
    return found


def amount_of(fault: Fault) -> float:
    """The amount in force: its own, or the usual one of its kind."""
    return KINDS[fault.kind].usual if fault.amount is None else fault.amount


def _amount(where: str, fault: Fault, kind: Kind) -> list[Objection]:
    if fault.amount is None:
        return []
    if kind.lo == kind.hi == 0.0:
        return [Objection(f"{where}.amount", f"{fault.amount:g}", f"{kind.name} has no amount", "leave it out")]
    if not kind.lo <= fault.amount <= kind.hi:
        limit = f"{kind.name} must have {kind.lo:g} to {kind.hi:g} {kind.unit}".rstrip()
        return [Objection(f"{where}.amount", f"{fault.amount:g}", limit, f"usual is {kind.usual:g}")]
    if kind.name in ("bit-flip", "exception") and fault.amount != int(fault.amount):
        limit = f"{kind.name} must have a whole number"
        return [Objection(f"{where}.amount", f"{fault.amount:g}", limit, "round it")]
    return []


def _target(where: str, fault: Fault, kind: Kind, places: Places) -> list[Objection]:
    known = places.of(kind)
    if fault.target in known:
        return []
    value = fault.target or "(none)"
    if known == ("",):
        return [Objection(f"{where}.target", value, f"{kind.name} has no target", "leave it out")]
    if kind.target == "word":
        numbers = f" or a word 0 to {places.word_count - 1}" if places.word_count else ""
        limit, listed = f"{kind.name} needs a tag{numbers}", ""
    else:
        more = " ..." if len(known) > 20 else ""
        limit, listed = f"{kind.name} needs a {kind.target}", ", ".join(name for name in known[:20] if name) + more
    near = difflib.get_close_matches(fault.target, known, 1)
    remedy = f"did you mean {near[0]}?" if near else f"known: {listed}" if listed else "see the point list"
    return [Objection(f"{where}.target", value, limit, remedy)]
