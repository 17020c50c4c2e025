"""`dewhold backup` as a person types it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from controller.cli.main import main


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six minutes of the demo chamber."""
    out = tmp_path_factory.mktemp("data")
    main(["cycle", "--link", "direct", "--hours", "0.1", "--out", str(out), "--no-report", "--json"])
    return out


def test_there_and_back(data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["backup", "--data", str(data), "--to", str(tmp_path / "b.zip"), "--json"]) == 0
    made = json.loads(capsys.readouterr().out)
    assert (made["ok"], made["last_scan"], made["cycle_open"]) == (True, 359, False)
    assert main(["backup", "--restore", str(tmp_path / "b.zip"), "--to", str(tmp_path / "new")]) == 0
    assert f"restored: {tmp_path / 'new'}, verified" in capsys.readouterr().out
    assert main(["report", "--verify", str(tmp_path / "new")]) == 0


def test_the_default_name_stands_beside_the_folder(data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["backup", "--data", str(data)]) == 0
    assert data.with_name(data.name + ".backup.zip").is_file()
    assert "verified" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["--data", "{tmp}/nothing"], 2, "no record.sqlite in this folder; give the --out folder of a cycle or run"),
        (["--data", "{data}", "--to", "{tmp}"], 2, "is a folder; name a file"),
        (["--data", "{data}", "--to", "{data}/record.sqlite"], 2, "is the record itself; name another file"),
        (["--restore", "{tmp}/x.zip"], 2, "must name a folder; give the folder to restore into"),
        (["--restore", "{tmp}/x.zip", "--to", "{data}/record.sqlite"], 2, "is a file; give the folder"),
        (["--restore", "{tmp}/x.zip", "--to", "{tmp}/new"], 3, "there is no backup at"),
    ],
)
def test_every_refusal_names_value_and_remedy(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], code: int, said: str
) -> None:
    places = {"tmp": str(tmp_path), "data": str(data)}
    assert main(["backup", *(argument.format(**places) for argument in arguments)]) == code
    assert said in capsys.readouterr().err


def test_only_a_backup_is_replaced_by_a_backup(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mine = tmp_path / "mine.txt"
    mine.write_text("what I need", encoding="utf-8")
    assert main(["backup", "--data", str(data), "--to", str(mine)]) == 2
    assert "is there and is no backup" in capsys.readouterr().err
    assert mine.read_text(encoding="utf-8") == "what I need"
    for _time in range(2):
        assert main(["backup", "--data", str(data), "--to", str(tmp_path / "b.zip")]) == 0
