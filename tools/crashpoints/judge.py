"""What must hold after a controller was killed, and after the next one went on; or after its disk refused."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

from controller.core.orders.procedure import AT_REST
from controller.errors import StoreError
from controller.runtime.session import CODEC
from controller.store.reader import Reader
from controller.store.verify import verify
from crashpoints.attempt import RECORD, Seen
from crashpoints.resumed import Found, saved, taken_up
from crashpoints.stage import DANGEROUS


def look(out: Path) -> Found | None:
    """All of a record that is judged; None when there is no cycle in it yet."""
    path = out / RECORD
    if not path.is_file():
        return None
    try:
        with closing(Reader(path)) as reader:
            checkpoint = reader.checkpoint()
            rows = reader.journal()
            scans = [frame.scan for frame in reader.frames()]
    except StoreError:
        if _tables(path):
            raise
        return None
    outcomes: dict[str, int] = {}
    for row in rows:
        if row.kind == "command":
            outcomes[str(row.data["id"])] = outcomes.get(str(row.data["id"]), 0) + 1
    with closing(sqlite3.connect(path)) as db:
        lines = dict(db.execute("SELECT id, hex(chain) FROM journal"))
    return Found(
        lines=lines,
        scans=scans,
        outcomes=outcomes,
        state=None if checkpoint is None else CODEC.load(checkpoint.state),
        state_scan=-1 if checkpoint is None else checkpoint.scan,
        journal=rows,
    )


def whole(out: Path, aside: Path) -> list[str]:
    """What is wrong with the files as they lie there. Looked at in a copy: looking folds the log back."""
    path = out / RECORD
    if not path.is_file():
        return []
    shutil.rmtree(aside, ignore_errors=True)
    shutil.copytree(out, aside, ignore=shutil.ignore_patterns("*-shm"))
    with closing(sqlite3.connect(aside / RECORD)) as db:
        said = [row[0] for row in db.execute("PRAGMA integrity_check")]
    wrong = [] if said == ["ok"] else [f"integrity_check: {text}" for text in said]
    return [*wrong, *(verify(aside / RECORD) if _tables(aside / RECORD) else [])]


def lost(seen: Seen, now: Found | None) -> list[str]:
    """What somebody saw and is not there any more, or is another."""
    lines, scans = (now.lines, now.scans) if now is not None else ({}, [])
    gone = [number for number, chain in seen.lines.items() if lines.get(number) != chain]
    wrong = [f"journal lines {gone} were seen and are gone or changed"] if gone else []
    if seen.scan >= 0 and seen.scan not in scans[-200:]:
        wrong.append(f"scan {seen.scan} was seen and is gone")
    return wrong


def went_on(before: Found | None, killed: Seen, after: Found | None, second: Seen) -> list[str]:
    """Whether the next controller went on where the killed one was."""
    if second.status not in (0, 1):
        return [f"the next controller ended with {second.status}: {second.said[-300:]}"]
    if after is None:
        return ["the next controller left no record"]
    wrong = lost(killed, after)
    if after.scans != list(range(len(after.scans))):
        wrong.append("scans are missing in the record")
    twice = [id_ for id_, count in after.outcomes.items() if count != 1]
    none = [id_ for id_ in killed.asked if id_ not in after.outcomes]
    wrong += [f"orders with two outcomes: {twice}"] * bool(twice) + [f"orders without an outcome: {none}"] * bool(none)
    if before is None or before.state is None:
        hot = [step for step in second.driven if any(step[place] for place in DANGEROUS)]
        return [*wrong, *(["heat or fog is on in a chamber at rest"] if hot else [])]
    wrong += [*saved(before), *taken_up(before, after)]
    latched, at_rest = any(before.state.protection.tripped), before.state.sequence.state in AT_REST
    if (latched or at_rest) and any(step[place] for step in second.driven for place in DANGEROUS):
        wrong.append(f"heat or fog was on {'with a trip latched' if latched else 'in a chamber at rest'}")
    return wrong


def _tables(path: Path) -> bool:
    """False for a file that was only just made: nothing was ever promised about it."""
    with closing(sqlite3.connect(path)) as db:
        return bool(db.execute("SELECT 1 FROM sqlite_schema LIMIT 1").fetchall())
