"""Lines redrawn in place: never wrapped, never scrolled, plain lines where there is no terminal, nothing when quiet."""

from __future__ import annotations

import os
import pty
import re
import select
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from controller.cli import live

ROOT = Path(__file__).parents[2]


def test_a_frame_goes_back_over_the_one_before_and_keeps_inside_the_screen() -> None:
    first, above = live.frame(["one", "two", "three"], 0, 80, 24)
    assert first == "\r\x1b[Jone\ntwo\nthree\n"
    assert above == 3
    second, above = live.frame(["one", "two", "three"], above, 80, 24)
    assert second.startswith("\r\x1b[3A\x1b[J")
    narrow, above = live.frame(["x" * 100, "y" * 100, "z"], 3, 20, 3)
    assert above == 2
    assert all(len(line) < 20 for line in narrow.split("\x1b[J")[1].splitlines())


def test_what_is_said_meanwhile_stands_above_the_lines() -> None:
    text, above = live.frame(["one", "two"], 2, 80, 24, ["a door opens"])
    assert text == "\r\x1b[2A\x1b[Ja door opens\none\ntwo\n"
    assert above == 2, "the next frame goes over the lines only"


def test_quiet_starts_nothing_and_says_only_what_happens(capsys: pytest.CaptureFixture[str]) -> None:
    def never() -> list[str]:
        pytest.fail("it was looked at")

    with live.shown(never, lambda: "".join(never()), quiet=True) as say:
        say("a door opens")
    assert capsys.readouterr().out == "a door opens\n"


def test_elsewhere_than_on_a_terminal_lines_come_now_and_then(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(live, "LINE_EVERY_S", 0.001)
    called: list[int] = []

    def line() -> str:
        called.append(1)
        return f"line {len(called)}"

    with live.shown(list, line):
        while len(called) < 3:
            pass
    assert capsys.readouterr().out.startswith("line 1\nline 2\n")


def read_until(terminal: int, text: bytes) -> bytes:
    """What comes until `text` has come."""
    said = b""
    while text not in said:
        assert select.select([terminal], [], [], 120.0)[0], said.decode()[-400:]
        said += os.read(terminal, 65536)
        assert len(said) < 1_000_000, said.decode()[-400:]
    return said


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_plant_on_a_terminal_shows_its_table_and_leaves_the_cursor(tmp_path: Path, number: signal.Signals) -> None:
    """Goal: a person sees it live, and gets the terminal back. Method: a real pseudo-terminal and a signal."""
    ours, theirs = pty.openpty()
    faults = tmp_path / "faults.toml"
    faults.write_text('[[fault]]\nkind = "belt-off"\nstart_s = 600.0\n', encoding="utf-8")
    command = [sys.executable, "-m", "controller.cli.main", "plant", "--port", "0", "--pace", "1000000"]
    command += ["--faults", str(faults)]
    process = subprocess.Popen(
        command, cwd=tmp_path, stdin=theirs, stdout=theirs, stderr=theirs,
        env={**os.environ, "PYTHONPATH": str(ROOT), "TERM": "xterm"},
    )  # fmt: skip
    os.close(theirs)
    try:
        said = read_until(ours, b"of 1,000,000 asked")
        process.send_signal(number)
        said += read_until(ours, b"chamber's time")
        assert process.wait(timeout=20) == 0
    finally:
        process.kill()
        process.wait()
        os.close(ours)
    text = said.decode()
    assert re.search(r"\x1b\[\d+A\x1b\[J", text), "redrawn in place"
    assert "demo-north (simulated)" in text
    assert re.search(r"\x1b\[J[^\x1b]*simulated fault begins: belt-off[^\x1b]*\(simulated\)", text)
    assert text.index("\x1b[?25l") < text.rindex("\x1b[?25h") < text.rindex("stopped after")
