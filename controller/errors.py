"""Every error Dewhold raises, one tree.

DewholdError
    ConfigError          a file or an option is wrong (exit code 2); carries every problem found, not just the first
    UnavailableError     what is needed is not there (exit code 3): no device, no disk, a lock held by another
        LinkError        one exchange with a device failed; the runtime turns it into an aged frame
        StoreError       the record could not be written or read
    InvariantError       what must be true after every scan was not; tests and campaigns raise it

Operating trouble (a bad probe, a tripped limiter) is never an exception: it is a value with a quality and a reason.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


class DewholdError(Exception):
    """Base of all errors that Dewhold raises on purpose."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in a file: where it is, what stands there, what is allowed, how to mend it."""

    file: str
    field: str
    value: str
    limit: str
    remedy: str

    def __str__(self) -> str:
        return f"{self.file}: {self.field} = {self.value}: {self.limit}; {self.remedy}"


class ConfigError(DewholdError):
    """One or more files or options are wrong. `problems` has them all."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class UnavailableError(DewholdError):
    """Something outside is not there: a device, a disk, a lock."""


class LinkError(UnavailableError):
    """One exchange with a device failed. `kind` is counted; the text says what happened and what to check."""

    def __init__(self, kind: str, text: str) -> None:
        self.kind = kind
        super().__init__(text)


class StoreError(UnavailableError):
    """The record could not be written or read."""


class InvariantError(DewholdError):
    """A scan left something untrue that must always be true."""
