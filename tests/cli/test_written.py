"""A result in a file is whole, or the older one stands there still and it is said why."""

from __future__ import annotations

import errno
import json
import os
from pathlib import Path

import pytest

from controller.cli.main import main
from controller.cli.written import require_results, write_summary, write_whole
from controller.errors import ConfigError, UnavailableError
from controller.report.ours import is_report, is_summary


def test_an_older_file_is_replaced_and_nothing_else_is_left(tmp_path: Path) -> None:
    path = tmp_path / "summary.json"
    write_whole(path, "old\n")
    write_whole(path, "new\n")
    assert path.read_text(encoding="utf-8") == "new\n"
    assert list(tmp_path.iterdir()) == [path]


def test_a_disk_that_refuses_leaves_the_older_file_and_says_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "summary.json"
    write_whole(path, "old\n")

    def full(_file: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(UnavailableError, match=f"No space left on device; free space on the disk of {tmp_path}"):
        write_whole(path, "new\n")
    assert path.read_text(encoding="utf-8") == "old\n"
    assert list(tmp_path.iterdir()) == [path]


OURS = {"chamber": "north", "recipe": "gentle", "verdict": "pass", "trace_sha256": None, "more": 1}


@pytest.mark.parametrize(
    ("text", "ours"),
    [(json.dumps(OURS), True), ("", False), ("{", False), ("[1]", False), ('{"verdict": "pass"}', False),
     ("[" * 100_000, False), ("\xff", False)],
)
def test_a_summary_of_ours_is_known_by_what_is_in_it(tmp_path: Path, text: str, ours: bool) -> None:
    path = tmp_path / "summary.json"
    path.write_bytes(text.encode("latin-1"))
    assert is_summary(path) is ours
    assert not is_summary(tmp_path / "none.json")
    assert not is_report(tmp_path / "none.html")


@pytest.mark.parametrize(("name", "kind"), [("summary.json", "summary of a cycle"), ("report.html", "report")])
@pytest.mark.parametrize("command", ["cycle", "run"])
def test_a_cycle_does_not_begin_where_its_results_would_replace_what_is_not_ours(
    command: str, name: str, kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mine = tmp_path / name
    mine.write_text("mine\n", encoding="utf-8")
    rest = ["--link", "direct", "--hours", "0.01"] if command == "cycle" else ["--port", "1"]
    assert main([command, *rest, "--out", str(tmp_path)]) == 2
    assert f"{mine}: is there and is no {kind}; give another folder, or move that file away" in capsys.readouterr().err
    assert sorted(path.name for path in tmp_path.iterdir()) == [name]
    assert mine.read_text(encoding="utf-8") == "mine\n"
    if name == "report.html" and command == "cycle":
        main([command, *rest, "--no-report", "--out", str(tmp_path)])
        assert mine.read_text(encoding="utf-8") == "mine\n", "none is made, none is in the way"
        assert is_summary(tmp_path / "summary.json")


def test_a_folder_in_the_place_of_a_result_is_named(tmp_path: Path) -> None:
    (tmp_path / "report.html").mkdir()
    with pytest.raises(ConfigError, match=r"report.html: is a folder; give another folder, or move that file away"):
        require_results(tmp_path, report=True)
    require_results(tmp_path, report=False)


def test_what_came_into_the_folder_while_a_cycle_ran_stays_and_the_record_has_the_summary(tmp_path: Path) -> None:
    mine = tmp_path / "summary.json"
    mine.write_text("mine\n", encoding="utf-8")
    with pytest.raises(UnavailableError, match="is no summary of a cycle; move it away; the summary of this"):
        write_summary(tmp_path, "{}")
    assert mine.read_text(encoding="utf-8") == "mine\n"
    mine.write_text(json.dumps(OURS), encoding="utf-8")
    write_summary(tmp_path, "{}")
    assert mine.read_text(encoding="utf-8") == "{}\n"
