"""What contradicts itself in the description of an instrument: field, value, limit, remedy."""

from __future__ import annotations

from collections.abc import Iterator

from plantsim.params.plant import PlantParams
from plantsim.params.probe import Probe

_DEGC = ("air", "board", "frame", "ceiling", "product", "supply", "return", "hall", "outdoor_t", "water")
_SEES = {"pt100": _DEGC, "capacitive": ("air", "rh"), "warmed": ("rh", "dew"), "wick": ("wet",)}
_SECTIONS = {"pt100": ("pt100",), "capacitive": ("capacitive",), "warmed": ("warmed",), "wick": ("wick", "pt100")}
_IN_THE_AIR = ("air", "rh", "wet", "dew")
_FAIL_LOW_mA, _FAIL_HIGH_mA = 3.6, 21.0


Contradiction = tuple[str, str, str, str]  # field, value, limit, remedy


def contradictions(p: PlantParams) -> list[Contradiction]:
    """Every contradiction in the probes, fields as they stand in a plant file."""
    return [
        (f"probe[{number}].{field} ({probe.tag})", value, limit, remedy)
        for number, probe in enumerate(p.probe)
        for field, value, limit, remedy in _wrong(probe)
    ]


def require_sound(p: PlantParams) -> None:
    """ValueError that lists every contradiction in the probes, one a line."""
    wrong = contradictions(p)
    if wrong:
        raise ValueError("\n".join(f"{field} = {value}: {limit}; {remedy}" for field, value, limit, remedy in wrong))


def _wrong(probe: Probe) -> Iterator[Contradiction]:
    sees, kind, place, card = probe.sees, probe.kind, probe.place, probe.card
    plain = Probe(tag="", sees="air")
    if kind in _SEES and sees not in _SEES[kind]:
        yield "sees", sees, f"a {kind} probe sees {', '.join(_SEES[kind])}", "correct sees or kind"
    elif kind == "plain" and sees in ("wet", "dew"):
        yield "kind", kind, f"nothing plain sees {sees}", f"make it {'a wick' if sees == 'wet' else 'warmed'}"
    for section in ("pt100", "capacitive", "warmed", "wick"):
        if getattr(probe, section) != getattr(plain, section) and section not in _SECTIONS.get(kind, ()):
            yield section, "(given)", f"kind {kind} does not use it", f"take it out, or set kind = {section}"
    if place != plain.place and sees not in _IN_THE_AIR:
        yield "place", "(given)", f"only what sees {', '.join(_IN_THE_AIR)} hangs in the air", "take place out"
    held = place.wall_share + place.radiant_share
    if held > 1.0:
        yield "place.wall_share + place.radiant_share", f"{held:g}", "at most 1", "make one smaller"
    if probe.transmitter.fails == "low" and card.least_mA > _FAIL_LOW_mA:
        limit = f"failure is at most {_FAIL_LOW_mA} mA, and this card does not see it"
        yield "card.least_mA", f"{card.least_mA:g}", limit, "lower it, or fail high"
    if probe.transmitter.fails == "high" and card.most_mA < _FAIL_HIGH_mA:
        limit = f"failure is at least {_FAIL_HIGH_mA} mA, and this card does not see it"
        yield "card.most_mA", f"{card.most_mA:g}", limit, "raise it, or fail low"
