"""A subject: files of the core, and the tests that have to notice slips in them."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Collection, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import ParamSpec, TypeVar

import pytest

from mutation.mutants import Mutant
from mutation.trial import Found, Trial

ROOT = Path(__file__).resolve().parents[2]
TESTS = "tests/core"
Given = ParamSpec("Given")
Result = TypeVar("Result")


@dataclass(frozen=True)
class Subject:
    """files: in controller/core. tests: files and folders in tests/core."""

    name: str
    files: tuple[str, ...]
    tests: tuple[str, ...]

    @property
    def folders(self) -> list[str]:
        """The tests as pytest wants them."""
        return [f"{TESTS}/{test}" for test in self.tests]


def run(
    mutants: Sequence[Mutant], found: Found, tests: Sequence[str], only: Collection[str] | None = None, until: int = 1
) -> tuple[str, Trial]:
    """Try mutants in one pytest: what went wrong, "" for nothing, and the trial. only, until: see Trial."""
    trial = Trial(mutants, found, only, until)
    options = ["-q", "-q", "-p", "no:cacheprovider", "-p", "no:terminalreporter"]
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"  # these tests use none, and some take seconds to load
    status = pytest.main([*options, *tests], plugins=[trial])
    return trial.failed or ("" if status in (0, 5) else f"pytest ended with {status}"), trial


def apart(work: Callable[Given, Result], *given: Given.args, **named: Given.kwargs) -> Result:
    """What a function returns, in a process of its own: pytest runs once in each."""
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("fork")) as pool:
        return pool.submit(work, *given, **named).result()
