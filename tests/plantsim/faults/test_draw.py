"""Drawn faults: fit the chamber, repeat exactly in every process, differ from seed to seed."""

from __future__ import annotations

import os
import subprocess
import sys
from collections import Counter

import pytest

from plantsim.faults import KINDS, Places, draw, kinds_of, objections

PLACES = Places(
    probes={"TT-1": "air", "TT-2": "air", "MT-1": "rh"}, bays=6, doors=(1, 4), words=("TT-1", "TT-2", "MT-1")
)
TELL = """
from plantsim.faults import Places, draw
places = Places(probes={"TT-1": "air", "TT-2": "air", "MT-1": "rh"}, bays=6, doors=(1, 4), words=("TT-1",))
print([draw(seed, 24.0, places) for seed in (1, 2, 77)])
"""


def test_every_draw_fits_and_lies_within_its_hours() -> None:
    for seed in range(40):
        faults = draw(seed, 24.0, PLACES, dt_s=2.0)
        assert objections(faults, PLACES) == []
        assert all(0.0 <= fault.start_s <= 86_400.0 and fault.start_s % 2.0 == 0.0 for fault in faults)
        assert list(faults) == sorted(faults, key=lambda fault: fault.start_s)


def test_all_kinds_come_and_each_seed_has_its_own_half_of_them() -> None:
    by_seed = [{fault.kind for fault in draw(seed, 240.0, PLACES)} for seed in range(60)]
    assert set().union(*by_seed) == set(KINDS)
    assert len({frozenset(kinds) for kinds in by_seed}) == 60
    counts = Counter(kind for kinds in by_seed for kind in kinds)
    assert all(8 <= counts[kind] <= 52 for kind in KINDS), counts


def test_seeds_have_rates_of_their_own() -> None:
    rates = sorted(len(draw(seed, 24.0, PLACES)) / 24.0 for seed in range(60))
    assert rates[0] < 1.0
    assert rates[-1] > 2.0


def test_only_the_asked_kinds_come() -> None:
    alone = [fault for seed in range(8) for fault in draw(seed, 24.0, PLACES, kinds_of("plant"))]
    assert {KINDS[fault.kind].room for fault in alone} == {"plant"}
    with pytest.raises(KeyError, match="bised"):
        draw(1, 24.0, PLACES, ["bised"])


def test_draws_are_the_same_in_two_processes_with_different_hash_seeds() -> None:
    said = [
        subprocess.run(
            [sys.executable, "-c", TELL],
            env={**os.environ, "PYTHONHASHSEED": hash_seed},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for hash_seed in ("1", "4242")
    ]
    assert said[0] == said[1]
    assert said[0].count("Fault(") > 20
