"""`dewhold report` as a person or a script calls it."""

from __future__ import annotations

import json
import shutil
import sqlite3
import sys
from contextlib import closing
from pathlib import Path

import pytest

from controller.cli import report
from controller.cli.main import main


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twelve minutes of the demo chamber."""
    out = tmp_path_factory.mktemp("data")
    main(["cycle", "--link", "direct", "--hours", "0.2", "--out", str(out), "--no-report", "--json"])
    assert not (out / "report.html").exists()
    return out


@pytest.fixture
def without_matplotlib(monkeypatch: pytest.MonkeyPatch) -> None:
    """As on a computer where only the controller is installed."""
    for name in [name for name in sys.modules if name.startswith(("matplotlib", "controller.report.html"))]:
        monkeypatch.delitem(sys.modules, name)
    for name in ("canvas", "plots"):
        monkeypatch.delitem(sys.modules, f"controller.report.{name}", raising=False)
    monkeypatch.setitem(sys.modules, "matplotlib", None)


def test_a_report_of_a_folder_stands_beside_its_record(data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["report", str(data)]) == 0
    assert f"report: {data / 'report.html'}" in capsys.readouterr().out
    assert (data / "report.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


def test_a_report_for_a_script(data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    page = tmp_path / "page.html"
    assert main(["report", str(data / "record.sqlite"), "--out", str(page), "--json"]) == 0
    made = json.loads(capsys.readouterr().out)
    assert (made["ok"], made["report"], made["bytes"]) == (True, str(page), page.stat().st_size)
    assert made["verdict"] == json.loads((data / "summary.json").read_text(encoding="utf-8"))["verdict"]


def test_verify_is_0_only_for_an_unchanged_record(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["report", "--verify", str(data / "record.sqlite")]) == 0
    copy = Path(shutil.copy(data / "record.sqlite", tmp_path))
    with closing(sqlite3.connect(copy)) as db, db:
        db.execute("UPDATE journal SET text = 'x' WHERE id = 2")
    assert main(["report", "--verify", str(copy)]) == 1
    capsys.readouterr()
    assert main(["report", "--verify", str(copy), "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["problems"][0] == "cycle 1: journal line 2 was changed"


def test_a_report_of_a_changed_record_is_made_and_is_no_success(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    copy = Path(shutil.copy(data / "record.sqlite", tmp_path))
    with closing(sqlite3.connect(copy)) as db, db:
        db.execute("UPDATE journal SET text = 'x' WHERE id = 2")
    assert main(["report", str(copy)]) == 1
    assert "the record was changed: cycle 1: journal line 2 was changed" in capsys.readouterr().out
    assert main(["report", str(copy), "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["ok"] is False


def test_only_a_report_is_replaced_by_a_report(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for text in ("GNU LICENSE", "<!DOCTYPE html>\n<title>mine</title>"):
        mine = tmp_path / "mine.html"
        mine.write_text(text, encoding="utf-8")
        assert main(["report", str(data), "--out", str(mine)]) == 2
        assert "is there and is no report; name another file" in capsys.readouterr().err
        assert mine.read_text(encoding="utf-8") == text
    page = tmp_path / "page.html"
    page.touch()  # an empty file, as mktemp leaves it, holds nothing that could be lost
    for _time in range(2):
        assert main(["report", str(data), "--out", str(page)]) == 0


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["{tmp}/nothing"], 2, "there is no such file"),
        (["{tmp}"], 2, "no record.sqlite in this folder"),
        (["--verify", "{tmp}/nothing"], 2, "there is no such file"),
        (["{data}/summary.json"], 3, "cannot be read"),
        (["--verify", "{data}/summary.json"], 3, "cannot be read"),
        (["{data}", "--cycle", "7"], 3, "has no cycle 7; give one of these: 1"),
        (["{data}", "--out", "{tmp}"], 2, "is a folder; name a file"),
        (["{data}", "--out", "{data}/record.sqlite"], 2, "is the record itself"),
        (["{data}", "--out", "{tmp}/no/such/folder.html"], 3, "cannot be written"),
    ],
)
def test_every_refusal_says_what_to_do(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], code: int, said: str
) -> None:
    places = {"tmp": str(tmp_path), "data": str(data)}
    assert main(["report", *(argument.format(**places) for argument in arguments)]) == code
    assert said in capsys.readouterr().err


def test_a_cycle_leaves_its_report_and_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["cycle", "--link", "direct", "--hours", "0.05", "--out", str(tmp_path)])
    assert f"report: {tmp_path / 'report.html'}" in capsys.readouterr().out
    assert (tmp_path / "report.html").is_file()


def test_a_cycle_reports_in_german_and_its_summary_knows_no_language(tmp_path: Path) -> None:
    main(["cycle", "--link", "direct", "--hours", "0.05", "--out", str(tmp_path), "--language", "de"])
    summary = json.loads((tmp_path / "summary.json").read_text(encoding="utf-8"))
    assert summary["verdict"] == "deviation"
    assert summary["reasons"][0].startswith("the recipe did not run to its end")
    assert "das Rezept lief nicht bis zum Ende" in (tmp_path / "report.html").read_text(encoding="utf-8")


@pytest.mark.usefixtures("without_matplotlib")
def test_without_matplotlib_a_cycle_says_how_to_get_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["cycle", "--link", "direct", "--hours", "0.05", "--out", str(tmp_path)]) == 1  # too short a cycle
    assert "no report: it needs the package matplotlib; install" in capsys.readouterr().out
    assert main(["report", str(tmp_path)]) == 3
    assert "pip install 'dewhold[report]'" in capsys.readouterr().err


def test_a_report_that_fails_never_fails_the_cycle(tmp_path: Path) -> None:
    (tmp_path / "record.sqlite").write_bytes(b"no record")
    assert report.beside(tmp_path, "en").startswith("no report: ")
    assert report.beside(tmp_path, "de").endswith(f"dewhold report {tmp_path} --language de")


def test_a_report_in_german_and_what_is_printed_stays(data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    english, german = data / "english.html", data / "german.html"
    assert main(["report", str(data), "--out", str(english), "--json"]) == 0
    plain = json.loads(capsys.readouterr().out)
    assert main(["report", str(data), "--out", str(german), "--language", "de", "--json"]) == 0
    made = json.loads(capsys.readouterr().out)
    assert {name: made[name] for name in ("verdict", "over", "changed")} == {
        name: plain[name] for name in ("verdict", "over", "changed")
    }
    assert '<html lang="de">' in german.read_text(encoding="utf-8")
    assert '<html lang="en">' in english.read_text(encoding="utf-8")
