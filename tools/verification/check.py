"""What a check is: what it proves, how, from where, what it found, and the errors it must be able to see."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from math import isfinite
from typing import Any

Change = Callable[[Any], Any]


class Effort(IntEnum):
    """How much a check may take: PLANTED also runs as plain Python, GATE in every test run, FULL in the report."""

    PLANTED = 0
    GATE = 1
    FULL = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One comparison. tolerance: of got - expected, in the unit; of their ratio's distance from 1 if `relative`."""

    what: str
    expected: float
    got: float
    tolerance: float
    unit: str = ""
    relative: bool = False

    @property
    def error(self) -> float:
        """got - expected, over expected if `relative`."""
        error = float(self.got) - float(self.expected)
        return error / float(self.expected) if self.relative else error

    @property
    def holds(self) -> bool:
        """Whether the error is a number within the tolerance."""
        return bool(isfinite(self.error) and abs(self.error) <= self.tolerance)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plant:
    """A deliberate error in the chamber model.

    changes: dotted name below plantsim -> the wrong one made from the right one. compiled: whether the kernel may
    stay compiled, which does not see changed constants and functions of its own.
    """

    what: str
    changes: Mapping[str, Change]
    compiled: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One verification. name: short, unique. formula, source: of the expected value. run: at an effort.

    sized: whether PLANTED is another run than the others, which then must hold without a planted error as well.
    """

    name: str
    subject: str
    proves: str
    formula: str
    source: str
    run: Callable[[Effort], Sequence[Figure]]
    plants: tuple[Plant, ...]
    sized: bool = False


def times(factor: float) -> Change:
    """A planted error: the right value times a factor."""
    return lambda right: right * factor


def instead(wrong: Any) -> Change:
    """A planted error: something else altogether."""
    return lambda _: wrong


def after(spoil: Callable[..., None]) -> Change:
    """A planted error: spoil(*arguments of the call) after every call of the right function."""

    def change(right: Callable[..., Any]) -> Callable[..., Any]:
        def spoilt(*given: Any) -> Any:
            result = right(*given)
            spoil(*given)
            return result

        return spoilt

    return change


def scaled(factor: float) -> Change:
    """A planted error: the right function's result times a factor."""

    def change(right: Callable[..., float]) -> Callable[..., float]:
        return lambda *given: factor * right(*given)

    return change
