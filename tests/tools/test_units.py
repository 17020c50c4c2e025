"""The units for systemd: valid to systemd itself, commands known to us, times that fit what the programs need."""

from __future__ import annotations

import argparse
import configparser
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from controller.cli import main as entry
from controller.cli.callout import LOOK_S

UNITS = Path(__file__).parents[2] / "tools" / "systemd"
NAMES = ("dewhold@.service", "dewhold-callout.service", "dewhold-page.service")
ANALYZE = shutil.which("systemd-analyze")
needs_systemd = pytest.mark.skipif(ANALYZE is None, reason="needs systemd-analyze (Debian: apt-get install systemd)")


def read(name: str) -> configparser.RawConfigParser:
    unit = configparser.RawConfigParser(strict=False)
    unit.optionxform = str  # type: ignore[assignment, method-assign]
    unit.read(UNITS / name, encoding="utf-8")
    return unit


@pytest.fixture
def installed(tmp_path: Path) -> list[Path]:
    """The units as they would be installed, with a program that exists; the one of a chamber by its name."""
    paths = []
    for name in NAMES:
        text = (UNITS / name).read_text(encoding="utf-8").replace("/opt/dewhold/bin/dewhold", sys.executable)
        paths.append(tmp_path / name.replace("@", "@north"))
        paths[-1].write_text(text, encoding="utf-8")
    return paths


@needs_systemd
def test_systemd_finds_nothing_wrong(installed: list[Path]) -> None:
    assert ANALYZE is not None
    done = subprocess.run([ANALYZE, "verify", "--man=no", *installed], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


@needs_systemd
def test_systemd_would_find_something_wrong(installed: list[Path]) -> None:
    assert ANALYZE is not None
    text = installed[0].read_text(encoding="utf-8")
    installed[0].write_text(text.replace("WatchdogSec=", "WatchDogSeconds="), encoding="utf-8")
    done = subprocess.run([ANALYZE, "verify", "--man=no", installed[0]], capture_output=True, text=True, check=False)
    assert "WatchDogSeconds" in done.stderr


@needs_systemd
def test_a_service_that_is_broken_into_reaches_little(installed: list[Path]) -> None:
    """systemd's own measure of exposure, 0 to 10; 2 is its bound between good and middling."""
    assert ANALYZE is not None
    for path in installed:
        asked = [ANALYZE, "security", "--offline=true", "--threshold=20", "--no-pager", path]
        done = subprocess.run(asked, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stdout[-300:] + done.stderr


@pytest.mark.parametrize("name", NAMES)
def test_its_command_is_one_of_ours_with_options_that_we_know(name: str) -> None:
    program, *words = read(name)["Service"]["ExecStart"].split()
    assert program == "/opt/dewhold/bin/dewhold"
    parser: argparse.ArgumentParser = entry._parser(words)
    args = parser.parse_args([word.replace("%i", "north") for word in words])
    assert callable(args.run)


@pytest.mark.parametrize("name", NAMES)
def test_it_comes_back_by_itself_but_not_with_bad_input(name: str) -> None:
    service, unit = read(name)["Service"], read(name)["Unit"]
    assert service["Restart"] == "always"
    assert service["SuccessExitStatus"].split() == [str(entry.INTERRUPTED)]
    assert service["RestartPreventExitStatus"].split() == [str(entry.BAD_INPUT)]
    assert unit["StartLimitIntervalSec"] == "0"  # a panel that is off for a night must not end it for good


def test_the_watchdog_outlasts_the_longest_scan_and_a_look_of_the_call_out() -> None:
    """Signs of life come after 0.3 of its time, with the next scan of 5 s at most: another scan's time must be left."""
    control, callout = read(NAMES[0])["Service"], read(NAMES[1])["Service"]
    assert control["Type"] == callout["Type"] == "notify"
    watchdog_s = float(control["WatchdogSec"])
    assert watchdog_s - (0.3 * watchdog_s + 5.0) >= 5.0
    assert float(callout["WatchdogSec"]) >= 10 * LOOK_S


@pytest.mark.parametrize("name", NAMES)
def test_where_it_writes_is_where_its_command_says(name: str) -> None:
    service = read(name)["Service"]
    places = [word for word in service["ExecStart"].split() if word.startswith("/var/lib/")]
    assert places
    allowed = [f"/var/lib/{service['StateDirectory']}", *service.get("ReadWritePaths", "").split()]
    assert all(any(place.startswith(one) for one in allowed) for place in places)


def test_the_cycle_report_does_not_run_within_a_real_time_limit() -> None:
    """A limit of processor time for real-time scheduling would end a controller that draws a report."""
    text = (UNITS / NAMES[0]).read_text(encoding="utf-8")
    assert "#LimitRTTIME" in text
    assert "--no-report" in text
