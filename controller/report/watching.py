"""What each row of protection watches in a chamber and when it trips: tags, limits, votes, and where it is reset.

For whoever has to bring each cause about at its device and sign that the row acted: `dewhold check --effects`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from controller.config.chamber import ChamberFile
from controller.core.alarms.losses import SETTLE_S
from controller.core.points import Point
from controller.core.rows.own import OwnRow
from controller.core.rows.protection import HARD_WIRED, NUMBER, Row

_WORKING = "in a cycle"


def causes(chamber: ChamberFile, points: Sequence[Point], rows: Sequence[Row]) -> list[tuple[str, str, str, str]]:
    """(row, what it watches, when its cause is there, how it is reset) of every row, built in or added."""
    own = {row.tag: row for row in chamber.protection.row}
    # What only measures may be silent: its channels are bad then. The panel is lost where outputs cannot be written.
    driving = ", ".join(dict.fromkeys(point.device for point in points if point.kind in ("AO", "DO")))
    found = []
    for row in rows:
        watches, when = _own(own[row.tag]) if row.tag in own else _WATCHED[row.tag](chamber)
        found.append((row.text, watches or driving, when, _reset(row)))
    return found


def only_told(chamber: ChamberFile) -> list[tuple[str, str]]:
    """(what, when) of causes that are alarmed and switch nothing: what is broken is left out of control."""
    losses, frozen, siblings, signals = chamber.alarms.losses, chamber.frozen, chamber.siblings, chamber.signals
    climate, after = chamber.climate, _time(losses.time_s)
    bad = f"outside 3.6 to 21 mA, fault code or no number; believed again after {signals.recover_s:g} s"
    found = [
        ("a reading is bad", bad),
        ("a reading jumps", f"faster than rate_per_s_max of its point; left out for {signals.rate_hold_s:g} s"),
    ]
    if frozen.tags:
        still = f"within {frozen.tolerance_pct:g} % of the span for {_time(frozen.time_s)} while air flows"
        found.append(("a probe does not move", f"{len(frozen.tags)} channels, {still}; left out"))
    for probe, most_K, what in (
        ("temperature", siblings.temperature_K, "air temperature"), ("humidity", siblings.dew_point_K, "dew point"),
    ):  # fmt: skip
        if most_K:
            apart = f"its {what} over {most_K:g} K from the median of all for {_time(siblings.time_s)}"
            found.append((f"a {probe} probe disagrees", f"{apart}, doors shut, air flowing; left out"))
    shut = f"from {_time(SETTLE_S['heat'])} after {chamber.heat.enable} went off"
    heat = f"{climate.heat_power} above {losses.heat_kW_max:g} kW for {after}, {shut}"
    found.append(("heat comes though shut", heat))
    shut = f"from {_time(SETTLE_S['fog'])} after all banks shut"
    flow = f"{climate.fog_flow} above {losses.fog_kg_per_h_max:g} kg/h for {after}, {shut}"
    found.append(("fog flows though shut", flow))
    if losses.air_share_min:
        least = f"{climate.airflow} below {100 * losses.air_share_min:g} % of what its speed gives for {after}"
        found.append(("the fan moves too little air", least))
    if chamber.alarms.in_hand:
        found.append(("a drive is not in automatic", f"{_tags(chamber.alarms.in_hand)} open; control goes on without"))
    found.append(("mains supply bad", f"{chamber.alarms.mains} open; drives that stop trip their own rows"))
    return found


def _contacts(*names: str) -> Callable[[ChamberFile], tuple[str, str]]:
    """Contacts that are closed while all is well."""
    return lambda chamber: (_tags([getattr(chamber.protection, name) for name in names]), "open")


def _doors(chamber: ChamberFile, where: str) -> tuple[str, str]:
    return _tags(chamber.protection.doors), f"any open, {where}"


def _air(chamber: ChamberFile) -> str:
    return _tags([pair.t for pair in chamber.climate.pairs])


def _humidity(chamber: ChamberFile) -> str:
    return _tags([pair.rh or pair.wet or pair.dew for pair in chamber.climate.pairs])


def _hot_air(chamber: ChamberFile) -> str:
    trusted = f"of those within {chamber.climate.disagree_K:g} K of their median"
    return f"any above {chamber.protection.air_degC_max:g} degC, {trusted}"


def _hot_supply(chamber: ChamberFile) -> str:
    missing = " or no reading" if chamber.protection.supply_bad_counts else ""
    return f"above {chamber.protection.supply_degC_max:g} degC{missing}"


# "" = the devices with outputs.
_WATCHED: dict[str, Callable[[ChamberFile], tuple[str, str]]] = {
    "emergency-stop": _contacts("emergency_stop"),
    "limiter": _contacts("limiter"),
    "person-inside": _contacts("person_inside"),
    "airflow-lost": lambda chamber: (
        _tags([chamber.protection.airflow, chamber.protection.fan_runs]),
        f"either open, from {chamber.protection.startup_s:g} s after the fan was switched on",
    ),
    "air-too-hot": lambda chamber: (_air(chamber), _hot_air(chamber)),
    "supply-too-hot": lambda chamber: (chamber.protection.supply, _hot_supply(chamber)),
    "product-too-hot": lambda chamber: (
        _tags(chamber.protection.product_temperatures), f"any above {chamber.protection.product_degC_max:g} degC",
    ),
    "door-open": lambda chamber: _doors(chamber, "save where a recipe says on_door = standing"),
    "temperature-bad": lambda chamber: (_air(chamber), "none is good"),
    "humidity-bad": lambda chamber: (_humidity(chamber), "none is good together with its temperature"),
    "link-lost": lambda chamber: (
        "", f"no answer for more than {chamber.protection.link_age_scans_max} scans"
    ),
    "watchdog": lambda _chamber: ("", f"says that its watchdog acted, {_WORKING}"),
    "fog-pressure": lambda chamber: (chamber.protection.fog_pressure, f"open, {_WORKING}"),
    "door-long": lambda chamber: _doors(chamber, "where a recipe says on_door = standing"),
    "fog-stale": lambda chamber: (
        ", ".join(item.tag for item in chamber.duty if "fog" in item.blocks) or "nothing",
        f"is due and not yet done, {_WORKING} or while fog is forced",
    ),
}
assert set(_WATCHED) == set(NUMBER)


def _own(row: OwnRow) -> tuple[str, str]:
    limits = [f"{word} {limit:g}" for word, limit in (("above", row.above), ("below", row.below)) if limit is not None]
    judged = " or ".join(limits + (["bad"] if row.bad_counts else []))
    voters, working = len(row.contacts) + len(row.readings), f", {_WORKING}" if row.working_only else ""
    if voters == 1:
        return _tags([*row.contacts, *row.readings]), ("open" if row.contacts else judged) + working
    votes = [f"{_tags(row.contacts)} open"] if row.contacts else []
    votes += [f"{_tags(row.readings)} {judged}"] if row.readings else []
    return _tags([*row.contacts, *row.readings]), f"{row.votes} of {voters}: {', '.join(votes)}{working}"


def _reset(row: Row) -> str:
    if not row.latch:
        return "by itself" + {"hold": ", then restart", "door": ", restart a stopped clock"}.get(row.effect, "")
    here = "reset trips" + {"hold": ", restart", "abort": ", reset, start"}.get(row.effect, "")
    return f"at its device, {here}" if row.tag in HARD_WIRED else here


def _tags(tags: Sequence[str]) -> str:
    """A, B; or A to H (8) where they differ in their last letter only."""
    if len(tags) > 4 and len({tag[:-1] for tag in tags}) == 1:
        return f"{tags[0]} to {tags[-1]} ({len(tags)})"
    return ", ".join(tags) or "nothing"


def _time(seconds: float) -> str:
    return f"{seconds / 60.0:g} min" if seconds >= 120.0 else f"{seconds:g} s"
