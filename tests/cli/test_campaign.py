"""`dewhold campaign`: fixed figures, exit codes, a command that replays what failed, and an early end."""

from __future__ import annotations

import json
import os
import signal
from dataclasses import replace
from typing import Any

import pytest

from controller.cli.main import BAD_INPUT, DID_NOT_HOLD, GOOD, INTERRUPTED, main
from controller.rig.campaign import trial
from controller.rig.campaign.campaign import there
from controller.rig.campaign.swarm import base_of

OWN = next(seed for seed in range(1, 500) if base_of(seed) is None and base_of(seed + 1) is None)  # no base is needed
FIGURES = {"chamber_days", "runs", "faults", "violations", "scans_per_s", "failing"}


def campaign(*more: str, seeds: int = 1, hours: float = 0.75) -> list[str]:
    return ["campaign", "--seeds", str(seeds), "--first-seed", str(OWN), "--hours", str(hours), "--workers", "1", *more]


def test_figures_have_their_fixed_names(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(campaign("--json", seeds=2)) == GOOD
    found = json.loads(capsys.readouterr().out)
    assert found.keys() >= FIGURES
    assert (found["runs"], found["violations"], found["failing"]) == (2, 0, [])
    assert found["chamber_days"] == pytest.approx(2 * 0.75 / 24.0, abs=1e-3)
    assert found["scans_per_s"] > 0.0


def test_the_table_says_the_same_in_words(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(campaign()) == GOOD
    shown = capsys.readouterr()
    assert "0.03 chamber-days in 1 runs of 0.75 h" in shown.out
    assert shown.out.rstrip().endswith("violations: 0")
    assert "campaign: 100 %" in shown.err


@pytest.mark.parametrize(
    "wrong", [["--hours", "0.5"], ["--seeds", "0"], ["--scan", "4"], ["--workers", "0"], ["--first-seed", "-1"]]
)
def test_what_cannot_be_is_bad_input(wrong: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["campaign", *wrong]) == BAD_INPUT
    assert wrong[0] in capsys.readouterr().err


def test_a_failing_seed_prints_the_command_that_shows_it_again(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    right = trial.Judge.look

    def look(self: Any, scan: int, result: Any) -> None:
        right(self, scan, result)
        if result.climate.temperature_degC > 0.0 and scan >= 777:
            self._found(scan, "believes-wrong", f"planted at {result.climate.temperature_degC:.6f}")

    monkeypatch.setattr(trial.Judge, "look", look)
    assert main(campaign("--json", seeds=2)) == DID_NOT_HOLD
    failing = json.loads(capsys.readouterr().out)["failing"]
    assert [one["seed"] for one in failing] == [OWN, OWN + 1]
    for one in failing:
        assert (one["violation"], one["scan"]) == ("believes-wrong", 777)
        word, *command = one["command"].split()
        assert word == "dewhold"
        assert main([*command, "--json"]) == DID_NOT_HOLD
        assert json.loads(capsys.readouterr().out)["failing"] == [one]
        assert main(command) == DID_NOT_HOLD
        assert one["what"] in capsys.readouterr().out


def test_a_campaign_that_met_little_is_not_complete(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert main(campaign("--complete")) == DID_NOT_HOLD
    shown = capsys.readouterr()
    assert "not complete, no run met kinds of faults: " in shown.err
    assert shown.out.rstrip().endswith("violations: 0")
    everything = {topic: tuple(names) for topic, names in there().items()}
    right = trial.run
    monkeypatch.setattr(trial, "run", lambda case: replace(right(case), met=everything))
    assert main(campaign("--complete")) == GOOD


def test_liveness_is_judged_after_the_healing(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    right = trial._Watch._moment
    monkeypatch.setattr(trial._Watch, "_moment", lambda *given: replace(right(*given), bad=1))
    assert main(campaign("--json")) == DID_NOT_HOLD
    [one] = json.loads(capsys.readouterr().out)["failing"]
    assert (one["violation"], one["what"]) == ("liveness", "15 min after healing 1 readings are still not good")


def test_an_interrupt_gives_what_was_done_so_far(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    right = trial.run

    def run(case: Any) -> Any:
        os.kill(os.getpid(), signal.SIGINT)
        return right(case)

    monkeypatch.setattr(trial, "run", run)
    assert main(campaign("--json", seeds=2)) == INTERRUPTED
    found = json.loads(capsys.readouterr().out)
    assert (found["runs"], found["interrupted"]) == (1, True)


def test_processes_find_what_one_process_finds() -> None:
    from controller.rig.campaign.campaign import Asked, run

    def outcomes(workers: int) -> Any:
        asked = Asked(seeds=2, first_seed=OWN, hours=0.75, workers=workers)
        return sorted(run(asked, lambda _done, _note: None).outcomes, key=lambda one: one.seed)

    assert outcomes(2) == outcomes(1)

