"""Where the chambers are: a folder that is not there is refused, and nothing is made."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.cli.main import main
from controller.page.live.places import places


def test_a_mistyped_folder_is_refused_with_what_was_looked_for_and_none_is_made(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    wrong = tmp_path / "TYPO"
    assert main(["page", "--data", str(wrong), "--port", "0"]) == 2
    said = capsys.readouterr().err
    assert str(wrong) in said
    assert "no such folder" in said
    assert "record.sqlite" in said
    assert "--out" in said
    assert not wrong.exists()


def test_a_folder_without_a_record_waits_for_one(tmp_path: Path) -> None:
    (chamber,) = places(tmp_path).chambers
    assert chamber.record == tmp_path / "record.sqlite"
