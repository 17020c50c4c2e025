"""`dewhold check` of files of faults: as strict as a cycle that is to have them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from controller.cli.main import main

GOOD, BAD_INPUT = 0, 2

FAULTS = """
tex = "a night"
[[fault]]
kind = "xstuck"
target = "TT-101C"
[[fault]]
kind = "stuck"
target = "TT-101X"
[[fault]]
kind = "stuck"
target = 3
[[fault]]
kind = "disk-full"
"""


def test_faults_are_judged_as_a_cycle_judges_them_and_all_problems_are_said_at_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "faults.toml"
    path.write_text(FAULTS, encoding="utf-8")
    assert main(["check", str(path), "--json"]) == 2
    checked = json.loads(capsys.readouterr().out)["files"][0]["problems"]
    assert main(["cycle", "--faults", str(path), "--out", str(tmp_path / "out"), "--json"]) == 2
    refused = json.loads(capsys.readouterr().out)["problems"]
    fields = {problem["field"]: problem["remedy"] for problem in checked}
    assert {problem["field"]: problem["remedy"] for problem in refused} == fields
    assert sorted(fields) == ["fault[0].kind", "fault[1].target", "fault[2].target", "fault[3].kind", "tex"]
    assert fields["fault[0].kind"] == "did you mean stuck?"
    assert fields["fault[1].target"].startswith("did you mean TT-101")
    assert not (tmp_path / "out").exists()


def test_faults_are_judged_by_the_chamber_that_is_given(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "faults.toml"
    path.write_text('[[fault]]\nkind = "lost-reply"\ntarget = "rtd-b"\n', encoding="utf-8")
    assert main(["check", str(path), "--chamber", "demo-south"]) == GOOD  # its panel has a device of that name
    capsys.readouterr()
    assert main(["check", str(path), "--chamber", "demo-north"]) == BAD_INPUT
    assert "lost-reply has no target" in capsys.readouterr().out
