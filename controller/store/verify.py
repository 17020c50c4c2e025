"""Is a record still what control wrote? Walks both hash chains and the seals of ended cycles."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from controller.errors import StoreError
from controller.store.blocks import unpack_block
from controller.store.chain import GENESIS, after_block, after_cycle, after_line, seal_of
from controller.store.header import Header
from controller.store.schema import open_for_reading


def verify(path: Path) -> list[str]:
    """Everything that is not as it was written, in words; empty = unchanged. Raises StoreError for no record.

    The end of a cycle that still runs is not sealed: lines cut off there cannot be seen.
    """
    with closing(open_for_reading(path)) as db:
        try:
            return _problems(db)
        except sqlite3.Error as error:
            raise StoreError(f"the record {path} cannot be read: {error}") from error


def _problems(db: sqlite3.Connection) -> list[str]:
    problems = [f"file: {row[0]}" for row in db.execute("PRAGMA quick_check(10)") if row[0] != "ok"]
    start = GENESIS
    known = set()
    for cycle, header, chain, ended, last_scan, summary, seal in db.execute(
        "SELECT cycle, header, chain, ended_ms, last_scan, summary, seal FROM cycles ORDER BY cycle"
    ):
        known.add(cycle)
        start = after_cycle(start, header)
        if start != chain:
            problems.append(f"cycle {cycle}: its header or its place was changed")
            start = chain
        frames = _walk_frames(db, cycle, chain, header, problems)
        journal = _walk_journal(db, cycle, chain, problems)
        if ended is not None and seal_of(ended, last_scan, summary, frames, journal) != seal:
            problems.append(f"cycle {cycle}: its end or its summary is not what was sealed")
    for table in ("frames", "minutes", "journal"):
        for (cycle,) in db.execute(f"SELECT DISTINCT cycle FROM {table}"):
            if cycle not in known:
                problems.append(f"{table}: rows of cycle {cycle}, which is not in the record")
    return problems


def _walk_frames(db: sqlite3.Connection, cycle: int, head: bytes, header: str, problems: list[str]) -> bytes:
    words = _row_words(header)
    minutes = db.execute("SELECT count(*) FROM minutes WHERE cycle = ?", (cycle,)).fetchone()[0]
    blocks = 0
    for first_scan, scans, utc_ms, block, minute, same, chain in db.execute(
        "SELECT f.first_scan, f.scans, f.utc_ms, f.block, m.columns, m.scans = f.scans AND m.utc_ms = f.utc_ms, f.chain"
        " FROM frames f LEFT JOIN minutes m ON m.first_scan = f.first_scan AND m.cycle = f.cycle"
        " WHERE f.cycle = ? ORDER BY f.first_scan",
        (cycle,),
    ):
        blocks += 1
        if not same or after_block(head, first_scan, scans, utc_ms, block, minute) != chain:
            problems.append(f"cycle {cycle}: frames or minute from scan {first_scan} were changed")
        elif words and len(unpack_block(block, words)) != scans:
            problems.append(f"cycle {cycle}: frames from scan {first_scan} do not hold {scans} scans")
        head = chain
    if minutes != blocks:
        problems.append(f"cycle {cycle}: {minutes} minutes for {blocks} blocks of frames")
    return head


def _walk_journal(db: sqlite3.Connection, cycle: int, head: bytes, problems: list[str]) -> bytes:
    for *line, chain in db.execute(
        "SELECT id, scan, utc_ms, kind, tag, text, data, chain FROM journal WHERE cycle = ? ORDER BY id", (cycle,)
    ):
        number, scan, utc_ms, kind, tag, text, data = line
        if after_line(head, (number, scan, utc_ms, kind, tag, text, data)) != chain:
            problems.append(f"cycle {cycle}: journal line {number} was changed")
        head = chain
    return head


def _row_words(header: str) -> int:
    try:
        return Header.from_json(header).row_words
    except ValueError:
        return 0  # a changed header is reported already
