"""Somebody outside who reads the record all the time and says what was seen: that much was acknowledged.

Prints `line ID CHAIN` for each journal line and `scan N` for the newest scan. A process of its own that is killed, so
that its end tidies nothing away; only the standard library, so that it is there at once.
"""

from __future__ import annotations

import sqlite3
import sys
import time

LOOK_S = 0.002


def main(path: str) -> None:
    """Look for ever."""
    db = None
    last, newest = 0, -1
    while True:
        try:
            db = db or sqlite3.connect(f"file:{path}?mode=ro", uri=True, timeout=1.0, isolation_level=None)
            lines = db.execute("SELECT id, hex(chain) FROM journal WHERE id > ? ORDER BY id", (last,)).fetchall()
            scan = db.execute("SELECT coalesce(max(scan), -1) FROM tail").fetchone()[0]
        except sqlite3.Error:
            db = None  # not there yet, or just being made
            time.sleep(LOOK_S)
            continue
        for last, chain in lines:
            print(f"line {last} {chain}", flush=True)
        if scan > newest:
            newest = scan
            print(f"scan {scan}", flush=True)
        time.sleep(LOOK_S)


if __name__ == "__main__":
    main(sys.argv[1])
