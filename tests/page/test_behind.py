"""The page goes behind control: nicer, on one core, and so is whatever it starts."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from controller.page.behind import NICE

SAY = "import os; print(os.nice(0), len(os.sched_getaffinity(0)), os.getsid(0) == os.getpid())"
CODE = f"""
import subprocess, sys
from controller.page.behind import step_back
step_back(); step_back()
subprocess.run([sys.executable, "-c", {SAY!r}])
"""


@pytest.mark.skipif(not hasattr(os, "sched_getaffinity"), reason="this system has no affinity")
@pytest.mark.parametrize("session", [False, True])
def test_the_page_and_what_it_starts_are_nicer_and_keep_to_one_core(session: bool) -> None:
    """Twice is no more than once. In a session of its own its whole session is nicer."""
    run = subprocess.run(
        [sys.executable, "-c", CODE], capture_output=True, text=True, check=True, start_new_session=session
    )  # fmt: skip
    nice, cores, _leads = run.stdout.split()
    assert int(nice) == max(NICE, os.nice(0))
    assert int(cores) == 1
