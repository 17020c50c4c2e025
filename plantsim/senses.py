"""What a probe remembers, by name: to look at it, and to change it from outside (faults, tests)."""

from __future__ import annotations

from typing import NamedTuple

from plantsim.kernel import layout as at
from plantsim.kernel.layout import Views
from plantsim.pack.probes import is_plain
from plantsim.params import PlantParams, Probe


class Sense(NamedTuple):
    """Row of the senses, the kinds of probe that have it, limits of what it may be set to."""

    row: int
    kinds: tuple[str, ...]
    least: float
    most: float


_ALL = ("plain", "pt100", "capacitive", "warmed", "wick")
SENSES = {
    "film_kg_per_m2": Sense(at.N_FILM, ("capacitive", "warmed"), 0.0, 1.0),
    "memory_pct": Sense(at.N_MEMORY, ("capacitive",), -10.0, 10.0),
    "body_degC": Sense(at.N_BODY_T, ("capacitive", "warmed"), -40.0, 120.0),
    "warm_K": Sense(at.N_WARM, ("warmed",), 0.0, 20.0),
    "wetted": Sense(at.N_WETTED, ("wick",), 0.0, 1.0),
    "salt": Sense(at.N_SALT, ("wick",), 0.0, 0.5),
    "reservoir_K": Sense(at.N_RESERVOIR, ("wick",), -10.0, 30.0),
    "drift": Sense(at.N_DRIFT, _ALL, -1000.0, 1000.0),
}


def probe_state(params: PlantParams, v: Views, tag: str) -> dict[str, float]:
    """Everything in SENSES that this probe has. Empty for a plain one. KeyError for a tag that no probe has."""
    index, probe = _find(params, tag)
    if is_plain(probe):
        return {}
    return {name: float(v.senses[sense.row, index]) for name, sense in SENSES.items() if probe.kind in sense.kinds}


def set_probe(params: PlantParams, v: Views, tag: str, what: str, value: float) -> None:
    """Set one of them. KeyError: unknown tag or name; ValueError: this probe has no such thing, or a wrong value."""
    index, probe = _find(params, tag)
    if what not in SENSES:
        raise KeyError(f"{what} is nothing that a probe has; known: {', '.join(SENSES)}")
    sense = SENSES[what]
    if is_plain(probe) or probe.kind not in sense.kinds:
        kinds = " or ".join(kind for kind in sense.kinds if kind != "plain")
        raise ValueError(f"probe {tag}: a plain or {probe.kind} probe has no {what}; give it kind {kinds}")
    if not sense.least <= value <= sense.most:
        raise ValueError(f"probe {tag} {what} {value:g}: must be from {sense.least:g} to {sense.most:g}; correct it")
    v.senses[sense.row, index] = value


def _find(params: PlantParams, tag: str) -> tuple[int, Probe]:
    for index, probe in enumerate(params.probe):
        if probe.tag == tag:
            return index, probe
    raise KeyError(f"{tag} is no probe; known: {', '.join(probe.tag for probe in params.probe)}")
