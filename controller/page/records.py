"""Records for people: the list of cycles, the report of one (made by a process of its own), columns as CSV."""

from __future__ import annotations

import subprocess
import sys
import threading
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from controller.errors import UnavailableError
from controller.page.live.places import ChamberPlace
from controller.store.glance import Glance
from controller.store.reader import CycleRow, Reader

REPORT_S = 180.0
FRESH_S = 60.0  # the report of a cycle that is not over is made anew after so long
_making = threading.Lock()  # one report at a time: it takes a core for some seconds
QUALITIES = ("good", "uncertain", "bad")
_DAY_MS = 86_400_000


def cycles(record: Path) -> list[dict[str, Any]]:
    """Every cycle in which something was started, newest first; verdict and figures of those that are summed up."""
    with Reader(record) as reader:
        ran = reader.ran()
        return [_cycle(row) for row in reversed(reader.cycles()) if row.cycle in ran]


def report(place: ChamberPlace, cycle: int, home: Path, language: str = "en") -> Path:
    """The file of one cycle's report in a language, made when it is not there yet. Raises UnavailableError."""
    with Reader(place.record) as reader:
        row = next((one for one in reader.cycles() if one.cycle == cycle), None)
    if row is None:
        raise UnavailableError(f"there is no cycle {cycle}")
    own = "" if language == "en" else f"-{language}"
    made = home / "reports" / f"{place.id}-{row.began_ms}-{cycle}{own}.html"
    over = bool(row.summary)  # sealed: nothing of it changes any more
    age_s = datetime.now(UTC).timestamp() - made.stat().st_mtime if made.is_file() else None
    if age_s is not None and (over or age_s < FRESH_S):
        return made
    made.parent.mkdir(parents=True, exist_ok=True)
    command = [
        sys.executable, "-m", "controller.cli.main", "report", str(place.record), "--cycle", str(cycle),
        "--out", str(made), "--language", language,
    ]  # fmt: skip
    if not _making.acquire(timeout=REPORT_S):
        raise UnavailableError("other reports are being made: try again in a minute")
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=REPORT_S, check=False)
    except subprocess.TimeoutExpired:
        raise UnavailableError("the report took too long: make it with `dewhold report`") from None
    finally:
        _making.release()
    if done.returncode != 0:
        lines = done.stderr.strip().splitlines()
        raise UnavailableError(lines[-1] if lines else "the report could not be made")
    return made


def csv(place: ChamberPlace, tags: list[str], units: dict[str, str], from_ms: int, to_ms: int) -> Iterator[str]:
    """Minutes as CSV (RFC 4180): time in UTC, then mean, least, greatest and quality of every tag. Day by day, so that
    a year needs no more memory than a day. Raises StoreError before the first line when there is no record."""
    glance = Glance(place.record)
    columns = glance.columns()
    glance.close()
    head = ["time_utc"]
    for tag in tags:
        unit = f" [{units[tag]}]" if units.get(tag) else ""
        head += [f"{tag}{unit} mean", f"{tag}{unit} least", f"{tag}{unit} greatest", f"{tag} quality"]
    return _lines(place, tags, columns, head, from_ms, to_ms)


def _lines(
    place: ChamberPlace, tags: list[str], columns: dict[int, tuple[str, ...]], head: list[str], from_ms: int, to_ms: int
) -> Iterator[str]:
    yield ",".join(f'"{cell}"' for cell in head) + "\r\n"
    at = from_ms
    while at < to_ms:
        until = min(to_ms, at + _DAY_MS)
        glance = Glance(place.record)  # a generator may go on in another thread, a connection may not
        try:
            found = [{row[0]: row for row in glance.column(columns, tag, at, until)} for tag in tags]
        finally:
            glance.close()
        rows = []
        for utc_ms in sorted({utc_ms for one in found for utc_ms in one}):
            cells = [datetime.fromtimestamp(utc_ms / 1000.0, UTC).isoformat(timespec="seconds").replace("+00:00", "Z")]
            for one in found:
                cells += _cells(one.get(utc_ms))
            rows.append(",".join(cells) + "\r\n")
        if rows:
            yield "".join(rows)
        at = until


def _cells(row: tuple[int, float, float, float, int] | None) -> list[str]:
    if row is None:
        return ["", "", "", ""]
    numbers = ["" if value != value else f"{value:.5g}" for value in (row[2], row[1], row[3])]
    return [*numbers, QUALITIES[min(row[4], 2)]]


def _cycle(row: CycleRow) -> dict[str, Any]:
    summary, facts = row.summary or {}, row.header.facts
    ready = summary.get("ready_h") or {}
    return {
        "cycle": row.cycle, "began_ms": row.began_ms, "ended_ms": row.ended_ms,
        "recipe": facts.get("recipe"), "mix": facts.get("mix"), "load_t": facts.get("load_t"),
        "simulated": bool(facts.get("simulated")), "verdict": summary.get("verdict"),
        "reasons": summary.get("reasons") or [], "energy_kWh": summary.get("energy_kWh"),
        "fog_kg": (summary.get("water_kg") or {}).get("fog"), "ready_h": ready.get("actual"),
        "ready_forecast_h": ready.get("forecast"), "alarms": len(summary.get("alarms") or []),
    }  # fmt: skip
