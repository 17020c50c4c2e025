"""The hand-over: who was told, what is due, and that it was done."""

from __future__ import annotations

import json
import sqlite3
import time
from collections.abc import Callable
from pathlib import Path

from starlette.testclient import TestClient

from controller.callout.escalation import Call, Incident, Key
from controller.callout.outbox import OUTBOX, Outbox, Way
from controller.callout.outcome import Outcome
from controller.page.people.roles import needed

AsRole = Callable[[str], TestClient]
PATH = "/api/v1/chambers/chamber"


def call_out(path: Path, chamber: str, person: str, tag: str, now_ms: int) -> None:
    """One message, sent."""
    key = Key(chamber, tag)
    incident = Incident(key, "high", seen_ms=now_ms, steps=1, begun_ms=now_ms, last_ms=now_ms, told=(person,))
    with Outbox(path) as outbox:
        ways = {person: (Way("mail", "a@example.com"),)}
        outbox.put((incident,), (Call(person, key, "step"),), ways, 0.0, 0.0, now_ms)
        letter = outbox.due(now_ms, "mail")
        assert letter is not None
        outbox.sending(letter.id, "subject", "body")
        outbox.settle(letter.id, Outcome("sent", "250 taken"), 24.0, now_ms + 1000)


def test_the_hand_over_says_who_was_told_of_this_chamber_since_one_left(as_role: AsRole, data: Path) -> None:
    one = as_role("operate")
    assert one.get(f"{PATH}/told").json()["told"] == []
    assert not (data / OUTBOX).exists(), "who only looks makes no file"
    now_ms = time.time_ns() // 1_000_000
    call_out(data / OUTBOX, "demo-north", "anna", "humidity-low", now_ms)
    call_out(data.parent / OUTBOX, "elsewhere", "ben", "humidity-low", now_ms)
    (told,) = one.get(f"{PATH}/told").json()["told"]
    assert (told["person"], told["channel"], told["about"], told["state"]) == ("anna", "mail", ["humidity-low"], "sent")
    assert told["utc_ms"] == now_ms + 1000
    one.post(f"{PATH}/since")
    assert one.get(f"{PATH}/told").json()["told"] == [], "seen and left: that was before"
    (data.parent / OUTBOX).unlink()


def test_a_broken_file_of_the_call_out_is_said_and_the_rest_of_the_page_goes_on(as_role: AsRole, data: Path) -> None:
    (data / OUTBOX).write_bytes(b"no database at all, but long enough to be looked at" * 40)
    one = as_role("view")
    assert one.get(f"{PATH}/told").status_code == 503
    assert one.get(f"{PATH}/since").status_code == 200


def test_what_is_due_comes_with_what_to_do_and_who_did_it_last(as_role: AsRole) -> None:
    found = as_role("view").get(f"{PATH}/duties").json()["duties"]
    tags = [one["item"] for one in found]
    assert {"person-inside-test", "fog-flush"} <= set(tags)
    weekly = found[tags.index("person-inside-test")]
    assert not weekly["due"]
    assert weekly["due_ms"] is not None
    assert weekly["done_ms"] is None
    assert "press it from inside" in weekly["action"]


def test_whoever_operates_says_that_something_is_done_and_it_lies_at_the_desk(as_role: AsRole, data: Path) -> None:
    assert needed("done") == "operate"
    order = {"id": "intention-0001", "verb": "done", "args": {"item": "fog-flush", "note": "all clear"}}
    assert as_role("view").post(f"{PATH}/commands?wait_s=0", json=order).status_code == 403
    assert as_role("operate").post(f"{PATH}/commands?wait_s=0", json=order).status_code in (200, 409)
    if (data / "desk.sqlite").is_file():
        with sqlite3.connect(data / "desk.sqlite") as db:
            rows = db.execute("SELECT verb, args FROM commands").fetchall()
        db.close()
        assert [(verb, json.loads(args)) for verb, args in rows] == [("done", order["args"])]
