"""One cycle of a record, opened to be reported: its files, its journal, its trends and its summary.

The summary sealed with the cycle is used when there is one; a cycle that is not over is summed up from its record.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from controller.config.chamber import ChamberFile
from controller.config.loader import Loaded, parse, parse_table
from controller.core.points import Point
from controller.core.sequence.recipe import Recipe
from controller.errors import ConfigError, StoreError
from controller.link.device import Device
from controller.report import ran
from controller.report.slice import Slice
from controller.report.summary import Run, Summary
from controller.store.header import Header
from controller.store.reader import CycleRow, FrameRow, JournalRow, MinuteRow, Reader

HOUR_MS = 3_600_000.0
MINUTE_MS = 60_000
T = TypeVar("T")
Ahead = Callable[[Reader, Header], "dict[str, float | None] | None"]


@dataclass(frozen=True, slots=True)
class Recorded:
    """What one cycle left. span: where it lies in time; last_ms: UTC of its last scan, also after its end.

    recipe, chamber, points, devices: from the texts in the record; None or empty where this version cannot read them.
    sealed: the cycle is over, and the summary is the one that belongs to the record.
    """

    path: Path
    reader: Reader
    number: int
    cycles: int
    header: Header
    span: ran.Span
    last_ms: int
    journal: list[JournalRow]
    summary: Summary
    sealed: bool
    recipe: Loaded[Recipe] | None
    chamber: ChamberFile | None
    points: tuple[Point, ...] | None
    devices: tuple[Device, ...]

    def minutes(self, tag: str) -> list[MinuteRow]:
        """One column by minute over the cycle; empty for a tag that the record does not have.

        A minute in which the cycle ended is left out: it is half of a chamber that nobody asks anything of.
        """
        if tag not in self.header.columns:
            return []
        is_over = self.span.ended < self.last_ms or self.sealed
        return self.reader.minutes(tag, self.span.began, self.span.ended - (MINUTE_MS if is_over else 0))

    def hours(self, utc_ms: float) -> float:
        """Hours after the start of the cycle."""
        return (utc_ms - self.span.began) / HOUR_MS


@contextmanager
def opened(path: Path, number: int | None = None, *, ahead: Ahead | None = None) -> Iterator[Recorded]:
    """A cycle of the record, the newest in which something was started if no number is given. Raises StoreError.

    ahead: makes the forecast as it stood at the start, for a summary that has to be worked out.
    """
    with Reader(path) as reader:
        yield _recorded(path, reader, number, ahead)


def _recorded(path: Path, reader: Reader, number: int | None, ahead: Ahead | None) -> Recorded:
    cycles = reader.cycles()
    if not cycles:
        raise StoreError(f"the record {path} is empty; there is nothing to report yet")
    wanted = number or max(reader.ran(), default=cycles[-1].cycle)
    chosen = next((index for index, row in enumerate(cycles) if row.cycle == wanted), None)
    if chosen is None:
        known = ", ".join(str(row.cycle) for row in cycles)
        raise StoreError(f"the record {path} has no cycle {number}; give one of these: {known}")
    row, is_newest = cycles[chosen], chosen == len(cycles) - 1
    until = None if is_newest else cycles[chosen + 1].began_ms
    last = reader.last_scan() if until is None else (row.last_scan or 0, row.ended_ms or until)
    journal = [line for line in reader.journal() if row.began_ms <= line.utc_ms and (not until or line.utc_ms < until)]
    span = ran.span_of(journal, last)
    if not journal:
        span = ran.Span(row.began_ms, *(span.ended,) * 3)
    journal = [line for line in journal if line.utc_ms >= span.began]
    texts = row.header.texts
    recipe = _parsed(texts.get("recipe"), Recipe)
    chamber = _parsed(texts.get("chamber"), ChamberFile)
    names = [Path(name).stem for name in chamber.value.device_names] if chamber else []
    devices = [_parsed(texts.get(kind), Device) for kind in (["device"] if len(names) < 2 else _kinds(names))]
    sealed = bool(row.summary)
    return Recorded(
        path=path,
        reader=reader,
        number=row.cycle,
        cycles=len(cycles),
        header=row.header,
        span=span,
        last_ms=last[1] if last else span.ended,
        journal=journal,
        summary=row.summary or _worked_out(path, reader, row, is_newest, recipe, chamber, journal, ahead),
        sealed=sealed,
        recipe=recipe,
        chamber=chamber.value if chamber else None,
        points=_points(texts.get("points")),
        devices=tuple(device.value for device in devices if device),
    )


def _kinds(names: list[str]) -> list[str]:
    return [f"device {name}" for name in names]


def _parsed(text: str | None, cls: type[T]) -> Loaded[T] | None:
    """A file of the record; None when it is not there or not of this version's shape."""
    try:
        return None if text is None else parse(text.encode(), cls, cls.__name__)
    except ConfigError:
        return None


def _points(text: str | None) -> tuple[Point, ...] | None:
    try:
        return None if text is None else parse_table(text.encode(), Point, "points").value
    except ConfigError:
        return None


def _worked_out(
    path: Path,
    reader: Reader,
    row: CycleRow,
    is_newest: bool,
    recipe: Loaded[Recipe] | None,
    chamber: Loaded[ChamberFile] | None,
    journal: list[JournalRow],
    ahead: Ahead | None,
) -> Summary:
    """The summary of a cycle that has none, from what its record says."""
    if recipe is None or chamber is None:
        raise StoreError("this record was begun by another version, and its cycle is not over: report it with that one")
    facts: Any = row.header.facts
    whole = reader
    if not is_newest:  # another one began before anybody summed it up
        reader = Slice(whole, row, path)
    last = reader.last_scan()
    first = next(iter(reader.frames()), None) if reader is whole else None
    known: dict[str, Loaded[Any]] = {"recipe": recipe, "chamber": chamber}
    return ran.summarise(
        reader,
        Run(
            chamber=chamber.value.name,
            recipe=recipe.value,
            files=known,
            mix=str(facts.get("mix")),
            load_t=float(facts.get("load_t") or 0.0),
            mix_degC=float(facts.get("mix_degC") or 0.0),
            seed=facts.get("seed"),
            link=str(facts.get("link")),
            scan_s=row.header.scan_s,
            scans=_scans(last, first, reader),
            wall_s=0.0,
            scan_us={},
            exchange_us={},
            trace_sha256="",
            invariants_broken=sum(1 for line in journal if line.kind == "invariant"),
            finished=any(line.kind == "state" and line.data.get("to") == "complete" for line in journal),
            ready_age_h=chamber.value.product.ready_age_h,
            ready_forecast=ahead(reader, row.header) if ahead else _forecast_beside(path, recipe.sha256),
        ),
    )


def _scans(last: tuple[int, int] | None, first: FrameRow | None, reader: Reader) -> int:
    if isinstance(reader, Slice):
        return reader.scans
    return last[0] - first.scan + 1 if last and first else 0


def _forecast_beside(path: Path, recipe_sha256: str) -> dict[str, float | None] | None:
    """The ready time that was forecast at the start, from the summary that a run left when it was ended early."""
    try:
        beside = json.loads(path.with_name("summary.json").read_text(encoding="utf-8"))
        same = beside["recipe_sha256"] == recipe_sha256
        found = {name: hours for name, hours in beside["ready_h"].items() if name != "actual"}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None
    return found if same and "forecast" in found else None
