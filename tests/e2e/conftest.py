"""Real processes: `dewhold plant` and `dewhold run` started as anybody would start them, and always ended."""

from __future__ import annotations

import os
import re
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from controller.errors import StoreError
from controller.store.reader import Reader

ROOT = Path(__file__).parents[2]
PATIENCE_S = 180.0  # the kernel may have to be compiled first
QUICK = """
name = "quick"
[[phases]]
kind = "rest"
floor_degC = 20.5
ceiling_degC = 30.0
rh_fog_below_pct = 90.0
rh_accept_pct = 80.0
fan_kg_per_s = 9.0
[phases.end]
time_h = 0.05
[[phases]]
kind = "hold"
temperature_degC = 21.5
rh_fog_below_pct = 97.0
rh_accept_pct = 80.0
fan_kg_per_s = 9.0
[phases.end]
time_h = 20.0
"""


@dataclass
class Processes:
    """Starts `dewhold` commands. What still runs at the end of a test is killed."""

    folder: Path
    started: list[subprocess.Popen[str]] = field(default_factory=list)

    def start(self, *arguments: str, **options: Any) -> subprocess.Popen[str]:
        """A command in the background, its two outputs as pipes. program: what Python runs in place of `dewhold`."""
        process = subprocess.Popen(
            [sys.executable, *options.pop("program", ("-m", "controller.cli.main")), *arguments],
            cwd=self.folder,
            env={**os.environ, "PYTHONPATH": str(ROOT), **options.pop("environment", {})},
            stdout=subprocess.PIPE,
            stderr=options.pop("stderr", subprocess.DEVNULL),
            text=True,
            **options,
        )
        self.started.append(process)
        return process

    def plant(self, *arguments: str) -> tuple[subprocess.Popen[str], int]:
        """A simulated chamber that listens; (process, port)."""
        process = self.start("plant", "--port", "0", "--outdoor", "8/80", *arguments)
        assert process.stdout is not None
        assert select.select([process.stdout], [], [], PATIENCE_S)[0], "the simulated chamber does not come up"
        found = re.search(r"Modbus TCP on 127\.0\.0\.1:(\d+)", process.stdout.readline())
        assert found is not None
        return process, int(found[1])

    def end(self) -> None:
        """Kill what is left."""
        for process in self.started:
            if process.poll() is None:
                process.send_signal(signal.SIGKILL)
            process.communicate()


@pytest.fixture
def processes(tmp_path: Path) -> Iterator[Processes]:
    """Starts commands in an own folder."""
    made = Processes(tmp_path)
    yield made
    made.end()


@pytest.fixture
def quick_recipe(tmp_path: Path) -> str:
    """A recipe that is in its hold after three minutes."""
    path = tmp_path / "quick.toml"
    path.write_text(QUICK, encoding="utf-8")
    return str(path)


def wait_for(record: Path, holds: Callable[[Reader], bool]) -> None:
    """Look at a record that a controller writes until something holds of it. Fails after PATIENCE_S."""
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline:
        try:
            with closing(Reader(record)) as reader:
                if holds(reader):
                    return
        except StoreError:
            pass  # not there yet, or not yet with a table in it
        select.select([], [], [], 0.05)
    raise AssertionError(f"{record} does not come to that in {PATIENCE_S} s")


@pytest.fixture
def until() -> Callable[[Path, Callable[[Reader], bool]], None]:
    """Wait for something in a record."""
    return wait_for
