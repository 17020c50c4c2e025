"""Faults of the computer itself. They cannot stand in a file of faults: what they strike is the process that reads it.

Each is tried on real processes, clocks or files by a test of its own; a person who asks for one is told where.
"""

from __future__ import annotations

from typing import Final

# name -> (what it is, where it is tried)
HOST: Final[dict[str, tuple[str, str]]] = {
    "killed": (
        "the controller's process is killed",
        "tests/e2e/test_kill.py",
    ),
    "stopped": ("the process gets no time for a while", "tests/e2e/test_host.py"),
    "clock-forward": ("the wall clock jumps ahead", "tests/e2e/test_host.py, tests/runtime/test_restart.py"),
    "clock-back": ("the wall clock jumps back", "tests/e2e/test_host.py, tests/runtime/test_restart.py"),
    "daylight-saving": ("the wall clock changes by an hour", "tests/e2e/test_host.py"),
    "disk-full": (
        "the disk takes nothing more",
        "tests/faults/test_crash_points.py, tests/faults/test_disk.py",
    ),
    "disk-read-only": (
        "the folder is read-only",
        "tests/e2e/test_read_only.py, tests/faults/test_crash_points.py",
    ),
    "slow-disk": ("the disk hangs", "tests/e2e/test_host.py"),
    "bad-checkpoint": ("the saved state cannot be used", "tests/e2e/test_host.py, tests/store/test_checkpoint.py"),
    "bad-record": (
        "the record is damaged or gone",
        "tests/e2e/test_host.py, tests/store/test_verify.py",
    ),
    "config-edited": ("files are edited while a cycle runs", "tests/e2e/test_host.py, tests/faults/test_resume.py"),
    "starved": ("other programs take the processor", "tests/e2e/test_host.py, tests/runtime/test_loop.py"),
    "memory-short": (
        "no memory is left",
        "tests/e2e/test_fail_direction.py, tests/store/test_trouble.py",
    ),
    "two-instances": ("a second controller is started", "tests/e2e/test_two_controllers.py"),
}
