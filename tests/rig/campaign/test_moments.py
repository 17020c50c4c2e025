"""Quiet cycles and their moments: every kind of phase is passed by itself, and a moment goes on as its cycle did."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from controller.core.sequence.recipe import PhaseKind
from controller.rig.campaign import moments, trial
from controller.rig.campaign.bases import BASES, scene_of, session_of
from controller.rig.campaign.moments import REST, recalled
from controller.rig.campaign.swarm import Case
from controller.rig.plant import build

SCAN_S = 2.0
EVERY = "every phase"


def test_a_cycle_passes_every_kind_of_phase_and_nobody_has_to_help() -> None:
    """The last trip's door is still open when the chamber is full: that must not stop the clock of what follows."""
    found = moments.known(EVERY, SCAN_S)
    kinds = set(PhaseKind.__args__)  # type: ignore[attr-defined]
    assert {moment.situation for moment in found} == {*kinds, REST}
    states = [recalled(moment, SCAN_S).state.sequence.state for moment in found]
    assert states[0] == "idle"
    assert set(states[1:]) == {"running", "complete"}


@pytest.mark.parametrize("number", [4, 15])
def test_a_moment_goes_on_as_its_cycle_did(number: int) -> None:
    """Half an hour on, by another run that begins at the moment: the chamber is where it was in the quiet cycle."""
    first, later = (moments.known(EVERY, SCAN_S)[n] for n in (number, number + 1))
    base, truth = BASES[EVERY], []
    look = trial._Watch.each

    def each(self: trial._Watch, scan: int, result: object) -> None:
        look(self, scan, result)  # type: ignore[arg-type]
        truth[:] = [np.array(self._truth)]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(trial._Watch, "each", each)
        outcome = trial.run(
            Case(
                seed=1, base=base, moment=first, outdoor=base.outdoor, scan_s=SCAN_S, heal_s=None, faults=(),
                orders=(), attended=False, hours=(later.scan - first.scan) * SCAN_S / 3600.0,
            )
        )  # fmt: skip
    assert outcome.violation is None
    assert outcome.scans == later.scan - first.scan
    session = session_of(base, SCAN_S)
    scene = replace(scene_of(base, SCAN_S), moment=recalled(later, SCAN_S).chamber)
    there = build(scene, session.bundle.points, session.bundle.devices, lockstep=True).chamber
    assert truth[0] == pytest.approx(np.array(there.truth_row), rel=1e-3, abs=1e-2)


def test_moments_are_kept_and_read_again() -> None:
    path = moments.prepare(EVERY, SCAN_S)
    written = path.stat().st_mtime_ns
    assert moments.prepare(EVERY, SCAN_S) == path
    assert path.stat().st_mtime_ns == written
