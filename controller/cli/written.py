"""Results in files: a whole one in place of an older one of ours and of nothing else, or the older one and a reason."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from controller.cli.options import problem
from controller.errors import ConfigError, UnavailableError
from controller.report.ours import is_report, is_summary
from controller.store.trouble import advice

SUMMARY, REPORT = "summary.json", "report.html"  # beside every record


def write_whole(path: Path, text: str) -> None:
    """Put a file in place at once: whoever reads it, whenever this program ends, finds a whole one.

    Raises UnavailableError with what to do.
    """
    fresh = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        try:
            with fresh.open("w", encoding="utf-8") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            fresh.replace(path)
        finally:
            fresh.unlink(missing_ok=True)
    except OSError as error:
        raise UnavailableError(f"{path} cannot be written: {error.strerror}; {advice(error, path)}") from error


def require_own(option: str, path: Path, kind: str, is_own: Callable[[Path], bool], remedy: str = "") -> None:
    """Refuse to write over what this program did not make. kind: of the file in a word, for example "report". remedy:
    for a file whose name nobody chose.

    An empty file may be written over: nothing is lost. Raises ConfigError.
    """
    if path.is_dir():
        raise problem(option, path, "is a folder", remedy or f"name a file in it for the {kind}")
    if not path.exists():
        return
    if not path.is_file():
        raise problem(option, path, "is there and is no ordinary file", remedy or "name another file")
    if path.stat().st_size and not is_own(path):
        remedy = remedy or f"name another file: only a {kind} is replaced"
        raise problem(option, path, f"is there and is no {kind}", remedy)


def require_results(out: Path, *, report: bool) -> None:
    """Refuse a folder in which a summary or a report would be written over what this program did not make, before
    anything runs. Raises ConfigError."""
    remedy = "give another folder, or move that file away"
    require_own("--out", out / SUMMARY, "summary of a cycle", is_summary, remedy)
    if report:
        require_own("--out", out / REPORT, "report", is_report, remedy)


def write_summary(out: Path, text: str) -> None:
    """Put summary.json into a folder. Raises UnavailableError, also when something else has come there meanwhile."""
    path = out / SUMMARY
    try:
        require_own("--out", path, "summary of a cycle", is_summary, "move it away")
    except ConfigError as error:
        raise UnavailableError(f"{error}; the summary of this cycle is in its record") from None
    write_whole(path, text + "\n")


def require_folder(path: Path) -> None:
    """Refuse a file whose folder is not there; a misspelt one is not made. Raises UnavailableError."""
    if not path.parent.is_dir():
        raise UnavailableError(
            f"{path} cannot be written: there is no folder {path.parent}; make it first, or name a file elsewhere"
        )
