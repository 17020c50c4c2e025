"""The bench: speed, books and control quality against their targets, on one core, in one process.

Only what the wanted rows need is run. A cycle over the direct link serves speed and truth alike.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

from controller.rig.bench import forecast as ahead
from controller.rig.bench import size, speed, stiff
from controller.rig.bench import standing as everyday
from controller.rig.bench import truth as quality
from controller.rig.bench import variation as away
from controller.rig.bench import whatif as other
from controller.rig.bench.rows import Found, Measured, Row, Target, chosen, judge
from controller.rig.onecore import one_core

Show = Callable[[float, str], None]
DAY_H = 24.0
QUICK_H = 1.0  # of cycle; figures for 24 h are then scaled up, and nothing is said about the hold


def targets(*, quick: bool, full: bool = False, what_ifs: bool = False) -> list[Target]:
    """The rows in the order of the table. quick: only those that a short run can tell. full: the variation too.

    what_ifs: those of the what-if cases instead of all others.
    """
    if what_ifs:
        return list(other.targets())
    fast = [*speed.CYCLE_TARGETS, *speed.MODBUS_TARGETS, *speed.STEP_TARGETS, *size.TARGETS, *size.ALONE_TARGETS]
    if quick:
        return fast
    held = [target for recipe in quality.RECIPES for target in quality.targets(recipe)]
    slow = [*stiff.TARGETS, *speed.COLD_TARGETS, *ahead.TARGETS, *held, *everyday.TARGETS]
    return [*fast, *slow, *(away.TARGETS if full else ())]


def measure(part: str, *, quick: bool, full: bool = False, show: Show) -> tuple[list[Row], float]:
    """(rows whose name contains `part`, time of the calibration loop in s).

    The variation takes minutes: its rows are measured when full, or when `part` begins with their name. So do the
    what-if cases, whose rows are measured only when `part` begins with their name.
    """
    full = full or part.casefold().startswith(away.NAME)
    wanted = chosen(targets(quick=quick, full=full, what_ifs=part.casefold().startswith(other.NAME)), part)
    names = {target.name for target in wanted}
    with one_core(), tempfile.TemporaryDirectory() as folder:
        loop_s = speed.calibration_s()
        bench = _Bench(names, QUICK_H if quick else DAY_H, Path(folder), show)
        found = bench.measure()
        loop_s = min(loop_s, speed.calibration_s())
    rows = [
        judge(target, found.get(target.name, Measured(value=None)), loop_s, bench.hold_h.get(target.name.split(":")[0]))
        for target in wanted
    ]
    return rows, loop_s


class _Bench:
    """Runs what the wanted rows need, each thing once."""

    def __init__(self, names: set[str], hours: float, folder: Path, show: Show) -> None:
        self._names = names
        self._hours = hours
        self._folder = folder
        self._show = show
        self.hold_h: dict[str, float] = {}

    def measure(self) -> Found:
        """Every figure that came up on the way."""
        found: dict[str, Measured] = {}
        step_us, direct_s = 0.0, 0.0
        cycle, wire, step, cold = (
            self._wants(group)
            for group in (speed.CYCLE_TARGETS, speed.MODBUS_TARGETS, speed.STEP_TARGETS, speed.COLD_TARGETS)
        )
        recipes = [recipe for recipe in quality.RECIPES if self._wants(quality.targets(recipe))]
        if cycle or step:
            self._show(0.0, "model step")
            found |= speed.step_figures(40)
            step_us = found["model step, dry"].value or 0.0
        if self._wants(size.TARGETS):
            found |= size.size_figures()
        if self._wants(stiff.TARGETS):
            self._show(0.02, "stiff solvers")
            found |= stiff.figures(self._folder)
        if cycle or wire or "gentle" in recipes or self._wants(size.ALONE_TARGETS):
            direct_s = self._cycle("gentle", found, step_us)
        if wire:
            part = self._part(0.4, 0.7)
            _, note, wall_s = speed.day("gentle", "modbus", self._hours, self._folder / "modbus", part)
            found |= speed.modbus_figures(note, wall_s, direct_s, speed.bare_turn_us(20_000))
        if "steady" in recipes:
            self._cycle("steady", found, step_us)
        if self._wants(ahead.TARGETS):
            found |= ahead.figures(self._folder / "seasons", self._part(0.76, 0.8))
        if self._wants(everyday.TARGETS):
            stood, self.hold_h[everyday.NAME] = everyday.figures(self._folder / "days", self._part(0.8, 0.87))
            found |= stood
        if self._wants(away.TARGETS):
            varied, holds = away.figures(self._folder, self._names, self._part(0.87, 0.95))
            found |= varied
            self.hold_h |= holds
        if any(name.startswith(other.NAME) for name in self._names):
            found |= other.figures(self._folder, self._names, self._show)
        if cold:
            self._show(0.95, "cold start")
            found |= speed.cold_figures()
        self._show(1.0, "done")
        return found

    def _cycle(self, recipe: str, found: dict[str, Measured], step_us: float) -> float:
        """A cycle over the direct link; returns its wall time scaled to 24 h."""
        part = self._part(0.05, 0.4) if recipe == "gentle" else self._part(0.7, 0.76)
        # gentle is a day by definition; another recipe runs to its own end, unless only an hour was asked for
        hours = self._hours if recipe == "gentle" or self._hours < DAY_H else 2.0 * DAY_H
        ran, note, wall_s = speed.day(recipe, "direct", hours, self._folder / recipe, part)
        if recipe == "gentle":
            found |= speed.cycle_figures(ran, note, wall_s, step_us)
            if self._wants(size.ALONE_TARGETS):
                found |= size.alone_figures(ran)
        if self._wants(quality.targets(recipe)):
            self.hold_h[recipe] = quality.hold_h(ran)
            found |= quality.figures(recipe, ran)
        return wall_s

    def _wants(self, group: tuple[Target, ...]) -> bool:
        return any(target.name in self._names for target in group)

    def _part(self, begin: float, end: float) -> Show:
        def show(fraction: float, note: str) -> None:
            self._show(begin + (end - begin) * min(fraction, 0.999), note)

        return show
