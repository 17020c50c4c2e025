"""The protection's rows as a table of cause and effect that a person can read, test line by line and sign."""

from __future__ import annotations

from collections.abc import Sequence

from controller.core.rows.protection import FAN, FOG, FRAME, HEAT, SAFE, VENT_OPEN, Row
from controller.core.sequence.phase_kinds import (
    AFTER,
    APART_K,
    DOOR,
    EMPTY,
    KINDS,
    OUTAGES,
    RESTART_S,
    outage_words,
)

_COLUMNS = ((HEAT, "heat"), (FOG, "fog"), (FAN, "fan"), (FRAME, "frame"), (VENT_OPEN, "vent"))
_CYCLE = {"none": "goes on", "door": "as the phase says", "hold": "clock stops", "abort": "aborts"}
_SETS = ", ".join(name for name, kind in KINDS.items() if kind.sets)
_LEGEND = (
    "off = off once tripped; at once = off while the cause is there, without delay; open = exhaust open; safe = the",
    "safe value of the point list. By itself: goes back so long after its cause has gone. Reset: stays until somebody",
    "resets it, which is refused while the cause is there and never restarts anything: what a hard-wired circuit took",
    "stays off until somebody restarts the clock, or resets a cycle that has ended, and what people drove of it by",
    "hand is over. Always: no heat without proven air flow, and the fan runs on after heat.",
    "Hard-wired devices act by themselves; these rows only follow them.",
    "Bypass: timed = people may leave the row out for a time, with name and reason; no = never.",
)


def lines(
    rows: Sequence[Row],
    *,
    chamber: str,
    sha256: str,
    causes: Sequence[Sequence[str]] = (),
    told: Sequence[Sequence[str]] = (),
) -> list[str]:
    """The table, a line for every row, with the file it belongs to and room for names and dates.

    causes, told: of `watching`, where the chamber is known and not only its rows.
    """
    head = ("cause", "delay", *[name for _bit, name in _COLUMNS], "cycle", "goes back", "bypass", "priority", "tested")
    body = [
        (row.text, f"{row.delay_s:g} s", *_effects(row), _CYCLE[row.effect], _back(row),
         "timed" if row.bypassable else "no", row.priority, "")
        for row in rows
    ]
    widths = [max(len(line[column]) for line in (head, *body)) for column in range(len(head))]
    widths[-1] = 10
    return [
        f"cause and effect of {chamber}, chamber file sha256 {sha256[:16]}",
        "",
        _line(head, widths),
        _line(tuple("-" * width for width in widths), widths),
        *[_line(line, widths) for line in body],
        "",
        *_LEGEND,
        *(["", *_table([("cause", "watches", "trips when", "goes back"), *causes])] if causes else []),
        *(["", "only told, nothing is switched:", *_table(told)] if told else []),
        "",
        *_unlooked_for(),
        "",
        "name ____________________  date ____________  signature ____________________",
    ]


def _unlooked_for() -> list[str]:
    """What an open door and a power loss do in a phase: by what its recipe says, and whether product stands inside."""
    doors = [(f'on_door = "{name}"', *words) for name, words in DOOR.items()]
    head = ("after a power loss of", *OUTAGES.values())
    product, empty = next(iter(KINDS)), EMPTY[0]
    losses = [
        (f'on_outage = "{asked}"' + said, *[outage_words(outage, asked, kind) for outage in OUTAGES])
        for kind, said in ((product, ""), (empty, f", in {' or '.join(EMPTY)}"))
        for asked in dict.fromkeys(asked for _outage, asked in AFTER)
    ]
    return [
        "an open door, by phase (`dewhold check RECIPE` says which is which)",
        *_table(doors),
        "",
        *_table([head, *losses]),
        "",
        "While a clock stands the climate is kept; it stands until a person restarts it, save where it says that it",
        "restarts. What aborts is off. Nothing restarts while a row has tripped, a lock hangs or air probes are bad.",
        f"The air that is found, once probes were good and no row tripped for {RESTART_S / 60.0:g} min: in {_SETS}",
        "the cycle aborts where its mean is outside [limits] of the chamber file, because the product must be judged",
        f"then; and none of these phases restarts by itself where it is more than {APART_K:g} K off its band.",
    ]


def _table(rows: Sequence[Sequence[str]]) -> list[str]:
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    return [_line(row, widths) for row in rows]


def _effects(row: Row) -> list[str]:
    found = []
    for bit, _name in _COLUMNS:
        done = "open" if bit == VENT_OPEN else "off"
        if row.at_once & bit:
            found.append("at once")
        elif (row.blocks | row.at_once) & SAFE:
            found.append("off" if bit in (HEAT, FOG) else "safe")
        else:
            found.append(done if row.blocks & bit else "")
    return found


def _back(row: Row) -> str:
    return "reset" if row.latch else f"by itself, {row.release_s:g} s"


def _line(cells: Sequence[str], widths: Sequence[int]) -> str:
    return "  ".join(cell.ljust(width) for cell, width in zip(cells, widths, strict=True)).rstrip()
