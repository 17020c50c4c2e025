"""A slipping belt, a clogged filter, a valve that leaks, fog that stays on: planted in a whole system, and named."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from controller.cli.main import main

LOSSES = {"air-missing", "heat-leaks", "fog-leaks"}


def said(out: Path, capsys: pytest.CaptureFixture[str], *options: str) -> set[str]:
    """Which of the losses the controller told of."""
    asked = ["cycle", "--link", "direct", "--scan", "2", "--outdoor", "8/80", "--no-report", "--json"]
    main([*asked, "--out", str(out), *options])
    summary: dict[str, Any] = json.loads(capsys.readouterr().out)
    assert summary["invariants_broken"] == 0
    return {alarm["tag"] for alarm in summary["alarms"]} & LOSSES


@pytest.mark.parametrize(
    ("what_if", "hours", "loss"),
    [
        ("belt-slipping", "0.3", {"air-missing"}),
        ("filter-clogged", "0.3", {"air-missing"}),
        ("belt-slipping=0.95", "0.3", set()),
        ("valve-leaking", "0.6", {"heat-leaks"}),
        ("valve-leaking=0", "0.6", set()),
    ],
)
def test_what_is_planted_is_told_by_its_name_and_what_is_not_is_not(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], what_if: str, hours: str, loss: set[str]
) -> None:
    assert said(tmp_path, capsys, "--hours", hours, "--what-if", what_if) == loss


def test_fog_that_stays_on_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    faults = tmp_path / "faults.toml"
    faults.write_text('[[fault]]\nkind = "stuck-on"\ntarget = "fog-a"\nstart_s = 300.0\nlength_s = 3600.0\n', "utf-8")
    assert said(tmp_path / "out", capsys, "--hours", "0.5", "--faults", str(faults)) == {"fog-leaks"}
