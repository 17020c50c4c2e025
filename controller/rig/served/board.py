"""What a served chamber model is doing, in words: some lines for a terminal, one line for a log."""

from __future__ import annotations

from math import isinf

from controller.rig.served.watching import Seen

# what it is called, the output that switches it, the output that says how much
_SAID = (
    ("fan", "fan_run", "fan_pct"), ("heat", "heat_run", "valve_pct"), ("vent", "", "vent_pct"),
    ("fog", "", "fog_pct"), ("fog A", "fog_a", ""), ("fog B", "fog_b", ""), ("frames", "frame_heat", ""),
)  # fmt: skip
_FILMS = (
    ("boards", "board_film_max_kg_per_m2"), ("walls", "envelope_film_max_kg_per_m2"),
    ("product", "product_film_max_kg_per_m2"),
)  # fmt: skip
_STAGES = ("stage_1", "stage_2", "stage_3", "stage_4")
SLACK = 0.95  # a pace below this share of what is asked is not reached


def lines(name: str, seen: Seen, asked: float | None) -> list[str]:
    """The table, made for 80 columns. asked: the pace, None = its time moves only when a controller writes."""
    true = seen.true
    moves = f"{true['fog_kg_per_h']:.1f} kg/h fog, {true['vent_kg_per_s']:.2f} kg/s vent"
    films = [f"{what} {true[column]:.4f}" for what, column in _FILMS]
    return [
        f"{name} (simulated)  {clock(seen.time_s)} lived  {pace(seen, asked)}",
        f"air      {_air(seen)}",
        f"coldest  {true['board_min_degC']:.2f} degC {seen.board}   dew {true['dew_margin_K']:+.2f} K {seen.nearest}",
        f"water    {', '.join(films)} kg/m2 at most",
        f"told     {told(seen)}",
        f"gives    {true['heat_kW']:.1f} kW heat, {true['fan_kW']:.1f} kW fan, {moves}",
        f"so far   {seen.heat_kWh:.1f} kWh heat, {seen.fan_kWh:.1f} kWh fan, {seen.fog_kg:.1f} kg fog",
        f"link     {link(seen)}",
    ]


def line(name: str, seen: Seen, asked: float | None) -> str:
    """The same on one line, for a log."""
    true = seen.true
    coldest = f"coldest board {true['board_min_degC']:.2f} degC, film {true['board_film_max_kg_per_m2']:.4f} kg/m2"
    gives = f"{true['heat_kW']:.1f} kW heat, {seen.heat_kWh:.1f} kWh, {seen.fog_kg:.1f} kg fog"
    head = f"{name} {clock(seen.time_s)} lived, {pace(seen, asked)}"
    return "; ".join((head, f"air {_air(seen)}", coldest, told(seen), gives, link(seen)))


def _air(seen: Seen) -> str:
    true = seen.true
    ends = f"top {seen.top_degC:.2f}, bottom {seen.bottom_degC:.2f}"
    moist = f"{true['rh_mean_pct']:.1f} %RH, dew point {true['dew_point_mean_degC']:.2f} degC"
    return f"{true['air_mean_degC']:.2f} degC ({ends}), {moist}"


def told(seen: Seen) -> str:
    """What the actuators are told, those that are wired."""
    found = []
    for name, run, share in _SAID:
        on, percent = seen.orders.get(run), seen.orders.get(share)
        if on is None and percent is None:
            continue
        value = "" if percent is None else f"{percent:.0f} %"
        state = "" if on is None else "on" if on else "off"
        found.append(" ".join(part for part in (name, state, value) if part))
    stages = [seen.orders[stage] for stage in _STAGES if stage in seen.orders]
    if stages:
        found.append(f"{sum(1 for stage in stages if stage)} of {len(stages)} stages")
    return ", ".join(found) or "nothing is connected"


def link(seen: Seen) -> str:
    """Who is connected, how old the heartbeat is, and the watchdog."""
    who = ", ".join(seen.peers[:3]) + (f" and {len(seen.peers) - 3} more" if len(seen.peers) > 3 else "")
    beat = "no heartbeat yet" if seen.beat is None else f"heartbeat {seen.beat}, {ago(seen.beat_s)} ago"
    dog = "no watchdog set" if isinf(seen.watchdog_s) else f"watchdog {seen.watchdog_s:g} s"
    if seen.tripped:
        dog = f"WATCHDOG TRIPPED, outputs safe ({seen.trips})"
    elif seen.trips:
        dog += f", tripped {seen.trips} times"
    return f"{who or 'nobody connected'}; {beat}; {dog}"


def pace(seen: Seen, asked: float | None) -> str:
    """The pace reached in lockstep; else the one asked for, or the one reached where that is less."""
    now = seen.pace
    if asked is None:
        return "lockstep" if now is None else f"pace {number(now)} (lockstep)"
    if now is None or now + seen.pace_error >= SLACK * asked:
        return f"pace {number(asked)}"
    return f"pace {number(now)} of {number(asked)} asked"


def number(value: float) -> str:
    """Three digits, no exponent."""
    return f"{float(f'{value:.3g}'):,.12g}"


def clock(time_s: float) -> str:
    """Hours, minutes, seconds."""
    whole = int(time_s)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d} h"


def ago(seconds: float) -> str:
    """A time that has passed, as short as it can be told."""
    if seconds < 6000.0:
        return f"{seconds:.1f} s" if seconds < 100.0 else f"{seconds / 60.0:.0f} min"
    return clock(seconds)
