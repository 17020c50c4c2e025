"""What contradicts itself in the description of an instrument: field, value, limit, remedy."""

from __future__ import annotations

from collections.abc import Iterator

from plantsim.params import PlantParams, Probe

_DEGC = ("air", "board", "frame", "ceiling", "product", "supply", "return", "hall", "outdoor_t", "water")
_SEES = {"pt100": _DEGC, "capacitive": ("air", "rh"), "warmed": ("rh", "dew"), "wick": ("wet",)}
_SECTIONS = {"pt100": ("pt100",), "capacitive": ("capacitive",), "warmed": ("warmed",), "wick": ("wick", "pt100")}
_IN_THE_AIR = ("air", "rh", "wet", "dew")
_FAIL_LOW_mA, _FAIL_HIGH_mA = 3.6, 21.0


def require_sound(p: PlantParams) -> None:
    """ValueError that lists every contradiction in the probes, one a line."""
    wrong = [f"probe {probe.tag}: {text}" for probe in p.probe for text in _wrong(probe)]
    if wrong:
        raise ValueError("\n".join(wrong))


def _wrong(probe: Probe) -> Iterator[str]:
    sees, kind, place, card = probe.sees, probe.kind, probe.place, probe.card
    plain = Probe(tag="", sees="air")
    if kind in _SEES and sees not in _SEES[kind]:
        yield f"sees = {sees}: a {kind} probe sees {', '.join(_SEES[kind])}; correct sees or kind"
    elif kind == "plain" and sees in ("wet", "dew"):
        yield f"kind = plain: nothing plain sees {sees}; make it {'a wick' if sees == 'wet' else 'warmed'}"
    for section in ("pt100", "capacitive", "warmed", "wick"):
        if getattr(probe, section) != getattr(plain, section) and section not in _SECTIONS.get(kind, ()):
            yield f"{section} is given: kind {kind} does not use it; take it out, or set kind = {section}"
    if place != plain.place and sees not in _IN_THE_AIR:
        yield f"place is given: only what sees {', '.join(_IN_THE_AIR)} hangs in the air; take place out"
    held = place.wall_share + place.radiant_share
    if held > 1.0:
        yield f"place.wall_share + place.radiant_share = {held:g}: at most 1; make one smaller"
    if probe.transmitter.fails == "low" and card.least_mA > _FAIL_LOW_mA:
        yield f"card.least_mA = {card.least_mA:g}: failure is at most {_FAIL_LOW_mA} mA; lower it, or fail high"
    if probe.transmitter.fails == "high" and card.most_mA < _FAIL_HIGH_mA:
        yield f"card.most_mA = {card.most_mA:g}: failure is at least {_FAIL_HIGH_mA} mA; raise it, or fail low"
