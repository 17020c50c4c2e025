"""What a controller is doing when it is struck, and the folder it finds."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from crashpoints.attempt import RECORD, Play, Theatre, copied
from crashpoints.judge import look

LOG_BYTES = 15_500_000  # just below 1000 pages, at which SQLite folds its log back: that falls into the window then
WINDOW = 60


@dataclass(frozen=True, slots=True)
class Scene:
    """words: what it is, for the table.  folder: the one it begins with, None = an empty one; scans: kept in
    it."""

    name: str
    words: str
    play: Play
    folder: Path | None
    scans: int = 0


def _at(verb: str, *seconds: int) -> tuple[str, ...]:
    return tuple(word for second in seconds for word in ("--order", f"{verb}@{second}"))


FIRST = Play(arguments=_at("start", 1), scans=5)
START = Play(arguments=(), scans=5)
# Ten scans before the window, until the cycle has been told to go on.
_ORDERS = (*_at("restart", 2), *_at("acknowledge", 6, 16, 21, 27, 33, 39, 46, 52, 57, 63, 68))
WATCHED = Play(arguments=_ORDERS, scans=10 + WINDOW, reader_first=True, asks=(13, 31, 55), trip=42)
WINDOW_ALONE = Play(arguments=_ORDERS, scans=10 + WINDOW, asks=(13, 31, 55), trip=42)
END = Play(arguments=_at("abort", 3), scans=40)

WORDS = {
    "first": "an empty folder: the record is made, a cycle is started",
    "start": "started again after a kill: the log is folded back, the tail becomes a block",
    "window": "60 scans with orders, a trip, and the log folded back in their middle",
    "alone": "the same 60 scans with nobody who reads at the start, from an empty log",
    "end": "a cycle is aborted, sealed and summed up",
}


def scenes(theatre: Theatre, names: list[str], *, short_log: bool = False) -> list[Scene]:
    """The scenes with their folders, made by a controller that was killed in its first hour.

    short_log: do not wait for a log that is nearly long enough to be folded back.
    """
    base = theatre.folder / "base"
    kept = 0
    if any(name != "first" for name in names):
        _live(theatre, base, 200_000 if short_log else LOG_BYTES)
        found = look(copied(base, theatre.folder / "aside"))
        kept = 0 if found is None else len(found.scans)
    plays = {"first": FIRST, "start": START, "window": WATCHED, "alone": WINDOW_ALONE, "end": END}
    return [
        Scene(name, WORDS[name], plays[name], base, kept) if name != "first" else Scene(name, WORDS[name], FIRST, None)
        for name in names
    ]


def begun(scene: Scene, to: Path) -> Path:
    """The folder in which the scene begins."""
    if scene.folder is None:
        return copied(to.parent / "empty", to) if (to.parent / "empty").is_dir() else _empty(to)
    return copied(scene.folder, to)


def _empty(to: Path) -> Path:
    (to.parent / "empty").mkdir(parents=True)
    return copied(to.parent / "empty", to)


def _live(theatre: Theatre, base: Path, log_bytes: int) -> None:
    """A cycle is started and goes on until its log has so many bytes; then it is killed."""
    log = base / f"{RECORD}-wal"

    def long_enough() -> bool:
        return log.exists() and log.stat().st_size > log_bytes

    play = Play(arguments=_at("start", 2), scans=5000)
    seen = theatre.run(play, base, None, base / "none", kill_when=long_enough)
    if seen.status != -9 or not long_enough():
        raise RuntimeError(f"the folder to begin with was not made: exit code {seen.status}: {seen.said[-500:]}")

