"""`dewhold callout`: who is on call, a test message that goes out or does not, and what was sent."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller

from controller.cli.main import main
from controller.config.find import SHIPPED

Said = pytest.CaptureFixture[str]


class Taking:
    """A mail server that takes all, or answers what it is told."""

    answer = "250 taken"
    to: list[str]

    def __init__(self) -> None:
        self.to = []

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        self.to += envelope.rcpt_tos
        return self.answer


@pytest.fixture
def office() -> Iterator[Controller]:
    import socket

    with socket.create_server(("127.0.0.1", 0)) as holder:
        port = holder.getsockname()[1]
    controller = Controller(Taking(), hostname="127.0.0.1", port=port)
    controller.start()
    yield controller
    controller.stop()


@pytest.fixture
def plan(tmp_path: Path, office: Controller) -> str:
    """The demo with the mail server here and no web calls."""
    text = (SHIPPED / "callout" / "demo.toml").read_text(encoding="utf-8").split("[[hooks]]")[0]
    for old, new in (
        ("mail.example.com", "127.0.0.1"), ("port = 587", f"port = {office.port}"),
        ('security = "starttls"', 'security = "none"'), ('hooks = ["phones"]', ""),
    ):
        text = text.replace(old, new, 1)
    path = tmp_path / "callout.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


@pytest.fixture
def callout(plan: str, tmp_path: Path) -> Callable[..., int]:
    return lambda *options: main(["callout", "--config", plan, "--data", str(tmp_path / "data"), *options])


def test_check_shows_who_is_on_call_at_a_local_time(capsys: Said) -> None:
    """On a Tuesday night of the demo's: Cleo, and by day Anna; nothing has a gap."""
    assert main(["callout", "--check", "--at", "2026-03-03T02:30"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("demo works, Tue 03 Mar 02:30 CET: on call: Cleo Marten\n")
    assert "somebody is on call at every moment of the coming week" in said
    assert main(["callout", "--check", "--at", "2026-03-03T09:00", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["on_duty"], found["gaps"]) == (["Anna Berg"], [])
    assert found["steps"][2]["people"] == ["Anna Berg", "Ben Falk", "Cleo Marten"]


def test_a_time_that_clocks_leave_out_is_refused_with_one_that_there_is(capsys: Said) -> None:
    assert main(["callout", "--check", "--at", "2026-03-29T02:30"]) == 2
    said = capsys.readouterr().err
    assert "is no time in Europe/Berlin: clocks go forward then" in said
    assert "for example 2026-03-29T03:30" in said


def test_check_shows_when_nobody_is_on_call(plan: str, capsys: Said) -> None:
    path = Path(plan)
    text = path.read_text(encoding="utf-8").replace('days = ["sat", "sun"]', 'days = ["sat"]')
    path.write_text(text, encoding="utf-8")
    assert main(["callout", "--config", plan, "--check", "--at", "2026-03-03T02:30"]) == 0
    assert "nobody is on call from Sun 08 Mar 06:00 CET to Mon 09 Mar 06:00 CET" in capsys.readouterr().out


def test_a_test_message_goes_out_and_is_kept(callout: Callable[..., int], office: Controller, capsys: Said) -> None:
    assert callout("--test", "anna") == 0
    assert office.handler.to == ["anna.berg@example.com"]
    capsys.readouterr()
    assert callout("--log", "--json") == 0
    (letter,) = json.loads(capsys.readouterr().out)
    assert (letter["kind"], letter["person"], letter["state"], letter["tries"]) == ("test", "anna", "sent", 1)


def test_a_test_message_that_is_refused_is_told_with_what_the_server_said(
    callout: Callable[..., int], office: Controller, capsys: Said
) -> None:
    office.handler.answer = "550 no such person"
    assert callout("--test", "everybody") == 1
    said = capsys.readouterr().out
    assert said.count("refused") == 3
    assert "550 no such person" in said


def test_a_test_to_nobody_is_bad_input(callout: Callable[..., int], capsys: Said) -> None:
    assert callout("--test", "zoe") == 2
    assert "--test = zoe: reaches nobody now; name one of anna, ben, cleo" in capsys.readouterr().err


def test_an_empty_log_says_so(callout: Callable[..., int], tmp_path: Path, capsys: Said) -> None:
    (tmp_path / "data").mkdir()
    assert callout("--log") == 0
    assert capsys.readouterr().out == "nothing was sent yet\n"
    assert list((tmp_path / "data").iterdir()) == []


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--data", "{tmp}/no"], "{tmp}/no: there is no such folder; give the --out folder"),
        (["--outbox", "{tmp}/no/box"], "{tmp}/no/box: there is no such file"),
        (["--count", "-3"], "must be 1 to 100000 messages"),
    ],
)
def test_a_log_that_cannot_be_shown_is_refused(options: list[str], said: str, tmp_path: Path, capsys: Said) -> None:
    assert main(["callout", "--log", *(option.format(tmp=tmp_path) for option in options)]) == 2
    assert said.format(tmp=tmp_path) in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_the_demo_file_is_checked_with_the_others(capsys: Said) -> None:
    assert main(["check", str(SHIPPED / "callout" / "demo.toml"), "--json"]) == 0
    (file,) = json.loads(capsys.readouterr().out)["files"]
    assert (file["kind"], file["ok"]) == ("callout", True)
