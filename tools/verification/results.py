"""Runs checks, without an error first and then with each planted one."""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from verification.check import Check, Effort, Figure, Plant
from verification.planting import planted


@dataclass(frozen=True, slots=True, kw_only=True)
class Caught:
    """What a check said with an error planted: the figure furthest out, in tolerances."""

    plant: Plant
    worst: Figure

    @property
    def caught(self) -> bool:
        """Whether the check failed, as it must."""
        return not self.worst.holds


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """A check that has been run. cpu_s: with its planted errors."""

    check: Check
    figures: Sequence[Figure]
    caught: Sequence[Caught]
    cpu_s: float

    @property
    def holds(self) -> bool:
        """All figures within tolerance, all planted errors seen."""
        return all(figure.holds for figure in self.figures) and all(one.caught for one in self.caught)


def run(check: Check, effort: Effort) -> Result:
    """The check at an effort; where PLANTED is another run, that one too, so that planted errors are judged fairly."""
    began = time.process_time()
    figures = list(check.run(effort))
    if check.sized and effort > Effort.PLANTED:
        figures += [figure for figure in check.run(Effort.PLANTED) if not figure.holds]
    caught = [sown(check, plant) for plant in check.plants]
    return Result(check=check, figures=figures, caught=caught, cpu_s=time.process_time() - began)


def sown(check: Check, plant: Plant) -> Caught:
    """What the check says with the error planted."""
    with planted(plant):
        return Caught(plant=plant, worst=furthest(check.run(Effort.PLANTED)))


def furthest(figures: Iterable[Figure]) -> Figure:
    """The figure with the largest error, in its own tolerances; one that is no number is worst of all."""

    def tolerances(figure: Figure) -> float:
        size = abs(figure.error)
        if size != size:
            return float("inf")
        return size / figure.tolerance if figure.tolerance > 0.0 else size * 1e30

    return max(figures, key=tolerances)
