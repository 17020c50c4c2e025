"""Chamber, controller and call-out as processes of their own, and a mail server: told once, whatever happens."""

from __future__ import annotations

import asyncio
import signal
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import closing
from email import message_from_bytes, policy
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller

from controller.callout.outbox import Outbox
from controller.config.find import SHIPPED

PATIENCE_S = 120.0


class Office:
    """Takes mails; while `held` is set it keeps the sender waiting for its answer."""

    def __init__(self) -> None:
        self.got: list[Any] = []
        self.held = threading.Event()
        self.came = threading.Event()

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        self.got.append(message_from_bytes(envelope.content, policy=policy.SMTP))
        self.came.set()
        while self.held.is_set():
            await asyncio.sleep(0.02)
        return "250 taken"


@pytest.fixture
def office() -> Iterator[tuple[Office, int]]:
    with socket.create_server(("127.0.0.1", 0)) as holder:
        port = holder.getsockname()[1]
    made = Office()
    controller = Controller(made, hostname="127.0.0.1", port=port)
    controller.start()
    yield made, port
    made.held.clear()
    controller.stop()


@pytest.fixture
def plan(tmp_path: Path, office: tuple[Office, int]) -> str:
    """The demo with this mail server, without pause and gathering; a silent record is told after a minute."""
    text = (SHIPPED / "callout" / "demo.toml").read_text(encoding="utf-8").split("[[hooks]]")[0]
    for old, new in (
        ("mail.example.com", "127.0.0.1"), ("port = 587", f"port = {office[1]}"),
        ('security = "starttls"', 'security = "none"'), ('hooks = ["phones"]', ""),
        ("gather_s = 15.0", "gather_s = 0.0"),
        ("pause_s = 120.0", "pause_s = 0.0"), ("silence_min = 5.0", "silence_min = 1.0"),
    ):
        assert old in text
        text = text.replace(old, new, 1)
    head, _test, rest = text.partition("[test]")
    text = head + "[mail]" + rest.partition("[mail]")[2]
    path = tmp_path / "callout.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def wait(holds: Any) -> None:
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline:
        if holds():
            return
        threading.Event().wait(0.05)
    raise AssertionError(f"it does not come to that in {PATIENCE_S} s")


def states(path: Path) -> list[str]:
    if not path.exists():
        return []
    with closing(Outbox(path)) as outbox:
        return [letter.state for letter in outbox.letters()]


def test_killed_while_it_sends_the_same_message_goes_out_again_and_no_other(
    processes: Any, tmp_path: Path, plan: str, office: tuple[Office, int], quick_recipe: str
) -> None:
    """A cycle is stopped by an order: its alarm is being sent when the call-out is killed; the next one finishes it."""
    mails, _port = office
    _plant, port = processes.plant("--lockstep")
    run = ("run", "--port", str(port), "--recipe", quick_recipe, "--out", "out", "--pace", "20")
    processes.start(*run, "--start-now", "--order", "hold@30")
    mails.held.set()
    same = ("callout", "--config", plan, "--data", "out")
    first = processes.start(*same)
    assert mails.came.wait(PATIENCE_S)
    first.send_signal(signal.SIGKILL)
    first.wait()
    outbox = tmp_path / "out" / "callout.sqlite"
    assert states(outbox) == ["sending"]
    mails.held.clear()
    second = processes.start(*same)
    wait(lambda: states(outbox) == ["sent"])
    assert len(mails.got) == 2  # the server had taken it before, but nobody was there to hear that
    assert len({mail["Message-ID"] for mail in mails.got}) == 1
    assert "the recipe's clock is stopped" in mails.got[0]["Subject"]
    second.send_signal(signal.SIGTERM)
    assert second.wait(timeout=180) == 130


def test_a_controller_that_is_killed_is_told_by_the_call_out_that_lives(
    processes: Any, tmp_path: Path, plan: str, office: tuple[Office, int], until: Any
) -> None:
    """A minute after the last scan, and once."""
    mails, _port = office
    _plant, port = processes.plant("--lockstep")
    run = processes.start("run", "--port", str(port), "--out", "out", "--pace", "20")
    until(tmp_path / "out" / "record.sqlite", lambda reader: (reader.last_scan() or (0, 0))[0] > 60)
    processes.start("callout", "--config", plan, "--data", "out")
    wait((tmp_path / "out" / "callout.sqlite").exists)
    run.send_signal(signal.SIGKILL)
    run.wait()
    wait(lambda: bool(mails.got))
    assert mails.got[0]["Subject"] == "SIMULATED demo-north: nothing is recorded any more"
