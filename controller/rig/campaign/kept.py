"""Outcomes of runs in a file, one a line as they are done: a campaign that was interrupted goes on where it was.

The first line says of which runs and of which state of the program they are; outcomes of others do not count.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from controller.errors import ConfigError, Problem
from controller.rig.campaign import moments
from controller.rig.campaign.trial import Outcome
from controller.rig.judging.judge import Violation

Key = tuple[str | int, ...]


class Kept:
    """The outcomes of a file, by the key of their run; without a file it keeps nothing."""

    def __init__(self, path: Path | None, runs: Mapping[str, Any]) -> None:
        """runs: what all runs of the file have in common. Raises ConfigError for a file of other runs, and for one
        that cannot be read or written."""
        self.outcomes: dict[Key, Outcome] = {}
        self._path = path
        if path is None:
            return
        head = {"program": moments.program(), **runs}
        try:
            lines = path.read_bytes().split(b"\n") if path.exists() else []
            whole = lines[:-1]  # a line that was being written when all ended is run again
            if whole:
                _same(path, _object(whole[0]), head)
                self.outcomes = {tuple(one["run"]): _outcome(one) for one in map(_object, whole[1:])}
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(b"".join(line + b"\n" for line in whole or [_line(head)]))
        except OSError as error:
            raise _refused(path, str(error.strerror), "give a file that can be read and written") from error
        except (KeyError, TypeError, ValueError) as error:
            raise _refused(path, "holds no results of runs", "give another file, or remove this one") from error

    def add(self, key: Key, outcome: Outcome) -> None:
        """One run is done."""
        if self._path is not None:
            with self._path.open("ab") as out:
                out.write(_line({"run": key, **asdict(outcome)}) + b"\n")


def _line(found: Mapping[str, Any]) -> bytes:
    return json.dumps(found, separators=(",", ":")).encode()


def _object(line: bytes) -> dict[str, Any]:
    found = json.loads(line)
    if not isinstance(found, dict):
        raise TypeError("no object")
    return found


def _same(path: Path, found: Mapping[str, Any], head: Mapping[str, Any]) -> None:
    for name, value in head.items():
        if found[name] != value:
            raise _refused(path, f"{name} {found[name]}, now {value}", "give another file, or remove this one")


def _outcome(found: dict[str, Any]) -> Outcome:
    del found["run"]
    if found["violation"] is not None:
        found["violation"] = Violation(**found["violation"])
    found["met"] = {topic: tuple(names) for topic, names in found["met"].items()}
    return Outcome(**found)


def _refused(path: Path, what: str, remedy: str) -> ConfigError:
    limit = f"must hold results of these runs: {what}"
    return ConfigError([Problem("command line", "--results", str(path), limit, remedy)])
