"""The trace changes with everything that decides or was decided, and with nothing else."""

from __future__ import annotations

import subprocess
import sys
from typing import Any

import pytest

from controller.core.frames import Command, Event
from controller.runtime.trace import Trace

COMMAND = Command("1", "start", "script", (("recipe", "gentle"),))
EVENT = Event("state", "", "running", (("x", 1.5),))
SCAN: dict[str, Any] = {
    "scan": 7, "age_scans": 0, "inputs": (1, 2, 65535), "outputs": (9, 10), "commands": (COMMAND,), "events": (EVENT,),
}


def digest(**changes: Any) -> str:
    trace = Trace(3, 2)
    trace.add(**(SCAN | changes))
    return trace.hexdigest()


@pytest.mark.parametrize(
    "changes",
    [
        {"scan": 8},
        {"age_scans": 1},
        {"inputs": (1, 3, 65535)},
        {"outputs": (9, 11)},
        {"commands": ()},
        {"commands": (COMMAND._replace(args=()),)},
        {"events": ()},
        {"events": (EVENT, EVENT)},
        {"events": (EVENT._replace(data=(("x", 1.25),)),)},
    ],
    ids=str,
)
def test_every_part_counts(changes: dict[str, Any]) -> None:
    assert digest(**changes) != digest()


def test_words_come_back_packed_as_the_record_keeps_them() -> None:
    assert Trace(3, 2).add(**SCAN) == bytes.fromhex("0000 0001 0002 ffff 0009 000a")


def test_does_not_depend_on_the_seed_of_hashes() -> None:
    """Two processes with other PYTHONHASHSEED give the digest of this one."""
    code = (
        "from controller.core.frames import Command, Event; from controller.runtime.trace import Trace;"
        "t = Trace(3, 2);"
        f"t.add(7, 0, (1, 2, 65535), (9, 10), ({COMMAND!r},), ({EVENT!r},)); print(t.hexdigest())"
    )
    for seed in ("1", "2"):
        environment = {"PYTHONHASHSEED": seed, "PYTHONPATH": ":".join(sys.path)}
        out = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True)
        assert out.stdout.strip() == digest()
