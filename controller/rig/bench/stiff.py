"""The model's steps against scipy's stiff solvers, on the same equations and to the same accuracy, in one run.

Ten minutes of a ramp with the outputs that the controller gave in the loop. Whoever simulates a controlled chamber
begins anew wherever an output changes, because what comes next depends on what was read until then; between changes the
solvers may go as far as they like. Beside it the same ramp with outputs that are kept for a minute, which no
controller does, but which suits the solvers.

They get the model's slope compiled, a size for every kind of state, and which state hangs on which: BDF as a sparse
Jacobian, LSODA as the band of one cell (with that of all neighbours it took thirty times as long). What counts is the
quickest of all tolerances that meet ERROR_K at every change, for the model its longest step that does. What is right
says BDF at a tolerance tighter than any that counts.
"""

from __future__ import annotations

import time
import warnings
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.rig.bench.rows import Found, Measured, Target
from controller.rig.bench.speed import OUTDOOR
from controller.rig.cycle import Options, run
from controller.rig.plant import scene
from plantsim.chamber import Chamber
from plantsim.params import PlantParams
from plantsim.params.fog import Spray
from plantsim.slope import CELL_SIZES, STEP_S, Slope, TooManyCallsError, jacobian, send
from plantsim.weather import Weather

Vector = NDArray[np.float64]
Changes = list[tuple[float, tuple[float, ...]]]  # from when on, s, the outputs
METHODS = ("BDF", "LSODA")
LOOP, MINUTE = "ten minutes of a ramp in the loop", "ten minutes of a ramp, outputs once a minute"
TARGETS = (
    *(Target(name=f"{LOOP}, {m} over the model", unit="x", must=30.0, dream=100.0, at_least=True) for m in METHODS),
    *(Target(name=f"{MINUTE}, {m} over the model", unit="x") for m in METHODS),
)
ERROR_K = 0.05
BEGIN_S, LONG_S, MINUTE_S = 7380.0, 600.0, 60.0
STEPS_S = (2.0, 1.0, 0.5, 0.25, 0.1)
TOLERANCES = (1.0, 1e-1, 1e-2, 1e-3, 1e-4, 1e-5, 1e-6)
TIGHT = 1e-8
CALLS_MOST = 60_000  # of the slope: a solver that asks for more has lost its way (LSODA does, at loose tolerances)
REPEATS = 5
SKIPPED = "skipped: scipy is not installed; it comes with the extra [test]"


class Way(NamedTuple):
    """A step or tolerance in words, thread time, and the furthest temperature from what is right."""

    how: str
    seconds: float
    error_K: float


def figures(folder: Path) -> Found:
    """All rows; without scipy, words."""
    try:
        import scipy.integrate  # noqa: F401
    except ImportError:
        return {target.name: Measured(value=None, note=SKIPPED, skipped=True) for target in TARGETS}
    begun, changes = ramp(folder)
    match = Match(begun)
    found = {}
    for name, given in ((LOOP, changes), (MINUTE, kept(changes, MINUTE_S))):
        right = match.right(given)
        ours = longest(match.stepped(given, right))
        for method in METHODS:
            theirs = quickest(match.solved(method, given, right))
            found[f"{name}, {method} over the model"] = _row(len(given), method, ours, theirs)
    return found


def _row(changes: int, method: str, ours: Way | None, theirs: Way | None) -> Measured:
    if ours is None or theirs is None:
        return Measured(value=None, note=f"{ERROR_K} K is not met by {'the model' if ours is None else method}")
    words = (f"{way.how} in {1e3 * way.seconds:.1f} ms, {way.error_K:.4f} K off" for way in (theirs, ours))
    return Measured(value=theirs.seconds / ours.seconds, note=f"{changes} settings of outputs: {'; '.join(words)}")


def ramp(folder: Path) -> tuple[Chamber, Changes]:
    """The chamber as the ramp of `gentle` is under way, and the outputs from there on."""
    given: list[tuple[float, ...]] = []
    options = Options(
        scene=scene(outdoor=OUTDOOR), recipe="gentle", link="direct", hours_max=(BEGIN_S + LONG_S) / 3600.0,
        out=folder / "ramp", start=datetime(2026, 3, 2, 16, 0, tzinfo=UTC),
    )  # fmt: skip
    ran = run(options, lambda _fraction, _note: None, lambda plant, _result: given.append(plant.device.orders))
    chamber = made(ran.plant.params, 1.0)
    for outputs in given[: round(BEGIN_S)]:
        chamber.step(outputs)
    then = given[round(BEGIN_S) : round(BEGIN_S + LONG_S)]
    return chamber, [(0.0, then[0]), *((i + 1.0, b) for i, (a, b) in enumerate(pairwise(then)) if a != b)]


def kept(changes: Changes, every_s: float) -> Changes:
    """The outputs as they are at every full `every_s`, kept until the next."""
    times = np.arange(0.0, LONG_S, every_s)
    return [(float(t), next(outputs for when, outputs in reversed(changes) if when <= t)) for t in times]


def made(params: PlantParams, dt_s: float, begun: Chamber | None = None) -> Chamber:
    """A chamber for steps of dt_s, in the state of another one."""
    if isinstance(params.fog, Spray):
        params = replace(params, fog=replace(params.fog, line_delay_s=0.0))  # counted in steps; there is no fog
    chamber = Chamber(params, charge=scene().charge, weather=Weather.constant(*OUTDOOR[0]), seed=1, dt_s=dt_s)
    if begun is not None:
        for mine, theirs in zip(chamber.state, begun.state, strict=True):
            mine[...] = theirs
    return chamber


def longest(ways: Iterator[Way]) -> Way | None:
    """The first that meets ERROR_K: steps come longest first."""
    return next((way for way in ways if way.error_K <= ERROR_K), None)


def quickest(ways: Iterator[Way]) -> Way | None:
    """The quickest of all that meet ERROR_K."""
    return min((way for way in ways if way.error_K <= ERROR_K), key=lambda way: way.seconds, default=None)


class Match:
    """Model and solvers from one state."""

    def __init__(self, begun: Chamber) -> None:
        from scipy.integrate import solve_ivp
        from scipy.optimize._numdiff import group_columns
        from scipy.sparse import csc_matrix

        self._begun, self._solve_ivp = begun, solve_ivp
        self._ode = ode = Slope(made(begun.params, STEP_S, begun))
        pattern = ode.pattern()
        rows, columns = np.nonzero(pattern)
        groups = np.asarray(group_columns(pattern.astype(float)))

        def sparse(_t: float, y: Vector) -> Any:
            return csc_matrix((jacobian(ode, groups, rows, columns, y), (rows, columns)), shape=pattern.shape)

        band = len(CELL_SIZES)
        self._given: dict[str, dict[str, Any]] = {"BDF": {"jac": sparse}, "LSODA": {"lband": band, "uband": band}}

    def right(self, changes: Changes) -> list[Vector]:
        """Temperatures at the end of every setting, from BDF at a tight tolerance."""
        return self._solve("BDF", TIGHT, changes)[1]

    def stepped(self, changes: Changes, right: Sequence[Vector]) -> Iterator[Way]:
        """The model itself, with instruments and all, at every step that fits the times of change."""
        for dt_s in STEPS_S:
            if all(end % dt_s == 0.0 for end in _ends(changes)) or dt_s < 1.0:
                looks = self._steps(dt_s, changes)[1]
                seconds = min(self._steps(dt_s, changes)[0] for _ in range(REPEATS))
                yield Way(f"steps of {dt_s:g} s", seconds, _off(looks, right))

    def solved(self, method: str, changes: Changes, right: Sequence[Vector]) -> Iterator[Way]:
        """A solver at every tolerance; those at which it got lost are left out."""
        for rtol in TOLERANCES:
            seconds, looks = self._solve(method, rtol, changes)
            if len(looks) == len(right):
                yield Way(f"{method} rtol {rtol:g}", seconds, _off(looks, right))

    def _steps(self, dt_s: float, changes: Changes) -> tuple[float, list[Vector]]:
        chamber, looks = made(self._begun.params, dt_s, self._begun), []
        begin = time.thread_time()
        for (when, outputs), end in zip(changes, _ends(changes), strict=True):
            send(chamber, outputs)
            for _ in range(round((end - when) / dt_s)):
                chamber.step(outputs)
            looks.append(self._ode.of(chamber))
        return time.thread_time() - begin, [self._ode.temperatures(y) for y in looks]

    def _solve(self, method: str, rtol: float, changes: Changes) -> tuple[float, list[Vector]]:
        ode, given, looks = self._ode, self._given[method], []
        y = ode.of(self._begun)
        begin = time.thread_time()
        ode.calls, ode.calls_most = 0, CALLS_MOST
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a solver that gives up says so with its result too
            for (when, outputs), end in zip(changes, _ends(changes), strict=True):
                ode.begin(outputs)
                try:
                    done = self._solve_ivp(
                        ode, (when, end), y, method=method, rtol=rtol, atol=rtol * ode.size, t_eval=[end], **given
                    )
                except (TooManyCallsError, ValueError, ZeroDivisionError):
                    break
                if not done.success or not np.isfinite(done.y).all():
                    break
                y = done.y[:, -1]
                looks.append(y)
        return time.thread_time() - begin, [ode.temperatures(y) for y in looks]


def _ends(changes: Changes) -> list[float]:
    return [*(when for when, _ in changes[1:]), LONG_S]


def _off(looks: Sequence[Vector], right: Sequence[Vector]) -> float:
    return max(float(np.abs(a - b).max()) for a, b in zip(looks, right, strict=True))
