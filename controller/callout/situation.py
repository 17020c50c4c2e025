"""What one chamber's record says now: alarms that stand, how old it is, and what the chamber is like."""

from __future__ import annotations

import json
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

from controller.callout.by_when import Facts
from controller.config.chamber import ChamberFile
from controller.config.loader import parse, parse_table
from controller.core.alarms import alarms
from controller.core.alarms.alarms import AlarmPlan, AlarmState
from controller.core.points import Point
from controller.core.protection import protection
from controller.core.rows.alarms import AlarmRow
from controller.core.rows.protection import ROWS
from controller.errors import ConfigError, StoreError
from controller.store.checkpoint import StateCodec
from controller.store.header import Header
from controller.store.reader import Reader

TREND_MS = 40 * 60_000
TRENDS = {"drying_rate": "FY-104", "dew_margin_K": "TY-106", "core_degC": "TY-104H", "age_h": "KY-104L"}
NOW = {"air": "TY-101", "rh": "MY-102", "margin": "TY-106", "heat": "JIC-103", "fog": "FIC-102", "vent": "FIC-120"}
SILENT = AlarmRow(
    "record-silent", "nothing is recorded any more", "high", 0.0, 0.0, 0.0, False, False,
    "the controller ended or hangs, its computer is off, or its disk is full",
    "nobody controls the chamber; the panel's own watchdog has put the outputs to safe values",
    "go there; look at the controller's computer, start it again, restart the cycle",
)
_CODEC = StateCodec(AlarmState)


@dataclass(frozen=True, slots=True)
class Standing:
    """One alarm that is in sight. state: U, A, R or L, as in core/alarms/life.py. from_ms: UTC at which it began."""

    row: AlarmRow
    state: str
    from_ms: int


@dataclass(frozen=True, slots=True)
class Situation:
    """One look at one record. trouble: why it could not be read, "" when it could.

    silent_s: since when nothing new is in it. over: its cycle has ended in order, so silence is no trouble.
    procedure: state of the sequence; cycle_s: its clock. now: latest means, by the names of NOW, NaN where not known.
    acknowledged: who acknowledged last, and when, UTC ms.
    """

    chamber: str
    simulated: bool = False
    trouble: str = ""
    last_ms: int = 0
    silent_s: float = 0.0
    over: bool = False
    procedure: str = ""
    cycle_s: float = 0.0
    standing: tuple[Standing, ...] = ()
    now: tuple[tuple[str, float], ...] = ()
    facts: Facts | None = None
    acknowledged: tuple[str, int] | None = None


@dataclass(frozen=True, slots=True)
class _Bound:
    """A chamber as the record describes it, worked out once for each chamber file."""

    text: str
    chamber: ChamberFile
    plan: AlarmPlan
    name: str


class Watch:
    """Looks at one record again and again. name: the folder, until the record says what chamber it is of."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._bound: _Bound | None = None
        self._seen: tuple[int, int] | None = None
        self._moved_s: float | None = None
        self._last_id = -1
        self._acknowledged: tuple[str, int] | None = None

    def look(self, now_ms: int, clock_s: float) -> Situation:
        """What stands there now. clock_s: of a clock that nobody sets. A record that cannot be read is `trouble`."""
        try:
            with closing(Reader(self.folder / "record.sqlite")) as reader:
                found = self._look(reader, now_ms, clock_s)
        except (StoreError, ConfigError, ValueError, KeyError, TypeError) as error:
            name = self._bound.name if self._bound else self.folder.name
            moved_s = self._moved_s = clock_s if self._moved_s is None else self._moved_s
            return Situation(name, trouble=str(error), silent_s=clock_s - moved_s)
        return found

    def details(self, situation: Situation) -> Situation:
        """The same with what a message tells besides: latest means and what limits are near."""
        if situation.trouble or self._bound is None:
            return situation
        try:
            with closing(Reader(self.folder / "record.sqlite")) as reader:
                return _detailed(reader, situation, self._bound.chamber)
        except StoreError:
            return situation

    def _look(self, reader: Reader, now_ms: int, clock_s: float) -> Situation:
        cycle, last = reader.newest(), reader.last_scan()
        if cycle is None or last is None:
            raise StoreError("the record is empty")
        header = cycle.header
        simulated = bool(header.facts.get("simulated"))
        if self._bound is None or self._bound.text != header.texts["chamber"]:
            self._bound = _bind(header)
        if last != self._seen:
            first = self._seen is None
            self._seen, self._moved_s = last, clock_s
            if first and not simulated:  # an old record is silent from the first look on
                self._moved_s = clock_s - max(0.0, (now_ms - last[1]) / 1000.0)
        self._note(reader)
        checkpoint = reader.checkpoint()
        situation = Situation(
            self._bound.name, simulated, last_ms=last[1], silent_s=clock_s - (self._moved_s or clock_s),
            over=cycle.ended_ms is not None, acknowledged=self._acknowledged,
        )
        if checkpoint is None:
            return situation
        state = json.loads(checkpoint.state)[0]
        known = _CODEC.load(json.dumps([state["alarms"]]))
        zero_ms = checkpoint.utc_ms - 1000.0 * checkpoint.now_s
        return replace(
            situation,
            procedure=str(state["sequence"]["state"]),
            cycle_s=float(state["sequence"]["cycle_s"]),
            standing=_standing(self._bound.plan, known, zero_ms),
        )

    def _note(self, reader: Reader) -> None:
        """Who acknowledged, from the journal since the last look."""
        if self._last_id < 0:
            self._last_id = reader.last_line()
            return
        for row in reader.journal(after_id=self._last_id, kind="command"):
            self._last_id = row.id
            if row.data.get("verb") == "acknowledge" and row.data.get("outcome") == "done":
                self._acknowledged = (str(row.data.get("who")), row.utc_ms)


def needs(situation: Situation, silence_min: float) -> tuple[Standing, ...]:
    """What in it needs somebody: alarms that are active and unacknowledged, and its silence."""
    found = tuple(one for one in situation.standing if one.state == "U")
    if situation.silent_s < 60.0 * silence_min or situation.over:
        return found
    return (Standing(SILENT, "U", situation.last_ms), *found)


def _bind(header: Header) -> _Bound:
    text = header.texts["chamber"]
    chamber = parse(text.encode(), ChamberFile, "chamber file in the record").value
    points = parse_table(header.texts["points"].encode(), Point, "point list in the record").value
    added = protection.bind(chamber.protection, points).rows[len(ROWS) :]
    return _Bound(text, chamber, alarms.bind(chamber.alarms, points, added, chamber.heat.kind), chamber.name)


def _standing(plan: AlarmPlan, state: AlarmState, zero_ms: float) -> tuple[Standing, ...]:
    return tuple(
        Standing(one.row, one.state, round(zero_ms + 1000.0 * one.from_s))
        for one in alarms.active_list(plan, state)
        if not one.hidden
    )


def _detailed(reader: Reader, situation: Situation, chamber: ChamberFile) -> Situation:
    since_ms = situation.last_ms - TREND_MS

    def trend(tag: str) -> tuple[tuple[float, float], ...]:
        return tuple((row.utc_ms / 1000.0, row.mean) for row in reader.minutes(tag, since_ms))

    checkpoint = reader.checkpoint()
    means = json.loads(checkpoint.state)[0]["alarms"]["means"] if checkpoint else {}
    facts = Facts(
        drying_kg_per_m2=float(means.get("drying_kg_per_m2", 0.0)),
        drying_s=float(means.get("drying_s", 0.0)),
        mean_h_min=chamber.alarms.mean_h_min,
        drying_mean_max=chamber.alarms.drying_mean_max,
        core_degC_max=chamber.protection.product_degC_max,
        ready_age_h=chamber.product.ready_age_h,
        **{name: trend(tag) for name, tag in TRENDS.items()},
    )
    now = tuple((name, rows[-1][1] if (rows := trend(tag)) else float("nan")) for name, tag in NOW.items())
    return replace(situation, facts=facts, now=now)
