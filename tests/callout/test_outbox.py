"""The outbox: each message is made once, kept until settled, tried again in bounded steps, and survives a kill."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from controller.callout.escalation import Call, Incident, Key
from controller.callout.outbox import BACKOFF_S, Letter, Outbox, Way, letters_of
from controller.callout.outcome import Outcome
from controller.errors import StoreError

FOG, STOP = Key("north", "humidity-low"), Key("north", "emergency-stop")
WAYS = {"anna": (Way("mail", "anna@example.com"), Way("phones", "https://x")), "ben": (Way("mail", "ben@example.com"),)}
AGAIN, SENT, REFUSED = Outcome("again", "451 later"), Outcome("sent", "250 taken"), Outcome("refused", "550 nobody")


@pytest.fixture
def outbox(tmp_path: Path) -> Iterator[Outbox]:
    with Outbox(tmp_path / "callout.sqlite") as opened:
        yield opened


def told(key: Key, last_ms: int = 0, person: str = "ben") -> Incident:
    return Incident(key, "high", seen_ms=0, steps=1, begun_ms=last_ms, last_ms=last_ms, told=(person,))


def put(outbox: Outbox, person: str, key: Key, now_ms: int, *, gather: float = 0.0, pause: float = 0.0) -> None:
    outbox.put((told(key, now_ms, person),), (Call(person, key, "step"),), WAYS, gather, pause, now_ms)


def states(outbox: Outbox) -> list[str]:
    return [letter.state for letter in reversed(outbox.letters())]


def handed_over(outbox: Outbox, now_ms: int, channel: str = "mail") -> Letter:
    letter = outbox.due(now_ms, channel)
    assert letter is not None
    outbox.sending(letter.id, "subject", "body")
    return letter


def test_a_step_makes_one_message_for_each_way_to_a_person(outbox: Outbox) -> None:
    put(outbox, "anna", FOG, 1000)
    found = [(one.person, one.channel, one.address, one.about, one.state) for one in outbox.letters()]
    assert sorted(found) == [
        ("anna", "mail", "anna@example.com", (FOG,), "waiting"), ("anna", "phones", "https://x", (FOG,), "waiting")
    ]
    assert outbox.incidents() == (told(FOG, 1000, "anna"),)


def test_incidents_and_messages_are_written_together_or_not_at_all(outbox: Outbox) -> None:
    """The second person has no way that is known: nothing of the decision may stay."""
    with pytest.raises(KeyError):
        outbox.put((told(FOG),), (Call("ben", FOG, "step"), Call("nobody", FOG, "step")), WAYS, 0, 0, 0)
    assert outbox.letters() == ()
    assert outbox.incidents() == ()


def test_what_waits_is_gathered_into_one_message_that_is_not_held_up(outbox: Outbox) -> None:
    """Two alarms five seconds apart, gathered for 15 s: one message, 15 s after the first."""
    put(outbox, "ben", FOG, 0, gather=15)
    put(outbox, "ben", STOP, 5000, gather=15)
    assert states(outbox) == ["replaced", "waiting"]
    assert outbox.due(14_999, "mail") is None
    letter = outbox.due(15_000, "mail")
    assert letter is not None
    assert letter.about == (FOG, STOP)


def test_there_is_a_pause_between_two_messages_to_one_person_and_none_for_others(outbox: Outbox) -> None:
    put(outbox, "ben", FOG, 0)
    outbox.settle(handed_over(outbox, 0).id, SENT, 6.0, 0)
    put(outbox, "ben", STOP, 10_000, pause=120)
    put(outbox, "anna", STOP, 10_000, pause=120)
    assert [one.person for one in outbox.letters(states=("waiting",)) if one.due_ms == 10_000] == ["anna", "anna"]
    assert [one.due_ms for one in outbox.letters(states=("waiting",)) if one.person == "ben"] == [120_000]


def test_a_message_is_tried_again_ever_more_rarely_and_given_up_in_the_end(outbox: Outbox) -> None:
    put(outbox, "ben", FOG, 0)
    now_ms, waits = 0, []
    while (letter := outbox.due(now_ms, "mail")) is not None:
        outbox.sending(letter.id, "s", "b")
        outbox.settle(letter.id, AGAIN, 6.0, now_ms)
        later = outbox.get(letter.id)
        assert later is not None
        if later.state != "waiting":
            break
        waits.append((later.due_ms - now_ms) / 1000.0)
        now_ms = later.due_ms
    assert waits[: len(BACKOFF_S)] == list(BACKOFF_S)
    assert set(waits[len(BACKOFF_S) :]) == {900.0}
    assert states(outbox) == ["given up"]
    assert 5.7 * 3_600_000 < now_ms <= 6.0 * 3_600_000
    tries = outbox.tries(outbox.letters()[0].id)
    assert len(tries) == len(waits) + 1
    assert {(result, said) for _at, result, said in tries} == {("again", "451 later")}


def test_the_other_side_may_ask_to_wait_longer_but_not_for_ever(outbox: Outbox) -> None:
    put(outbox, "ben", FOG, 0)
    outbox.settle(handed_over(outbox, 0).id, Outcome("again", "503", wait_s=200.0), 6.0, 0)
    assert outbox.letters()[0].due_ms == 200_000
    outbox.settle(handed_over(outbox, 200_000).id, Outcome("again", "503", wait_s=1e9), 6.0, 200_000)
    assert outbox.letters()[0].due_ms == 200_000 + 900_000


def test_a_refusal_is_final_and_the_step_counts_as_undelivered(outbox: Outbox) -> None:
    put(outbox, "anna", FOG, 0)
    outbox.settle(handed_over(outbox, 0).id, REFUSED, 6.0, 0)
    assert outbox.undelivered(outbox.incidents()) == frozenset()  # the other way is still open
    outbox.settle(handed_over(outbox, 0, "phones").id, REFUSED, 6.0, 0)
    assert outbox.undelivered(outbox.incidents()) == {FOG}
    assert outbox.failed_since(0) == 2
    put(outbox, "ben", FOG, 5000)
    assert outbox.undelivered(outbox.incidents()) == frozenset()


def test_what_was_being_sent_when_the_program_ended_is_sent_again_under_its_id(tmp_path: Path) -> None:
    with Outbox(tmp_path / "callout.sqlite") as outbox:
        put(outbox, "ben", FOG, 0)
        before = handed_over(outbox, 0)
    with Outbox(tmp_path / "callout.sqlite") as outbox:
        assert outbox.recover(1000) == 1
        after = outbox.due(1000, "mail")
        assert after is not None
        assert (after.id, after.subject, after.body) == (before.id, "subject", "body")
        assert outbox.recover(1000) == 0


def test_a_test_message_is_made_once_for_its_day(outbox: Outbox) -> None:
    assert len(outbox.put_test("test 2026-03-02", ["anna", "ben"], WAYS, 0)) == 3
    assert outbox.put_test("test 2026-03-02", ["anna", "ben"], WAYS, 1) == []
    assert len(outbox.put_test("test 2026-03-03", ["ben"], WAYS, 2)) == 1


def test_old_messages_are_forgotten_what_waits_is_not(outbox: Outbox) -> None:
    put(outbox, "ben", FOG, 0)
    put(outbox, "anna", FOG, 0)
    outbox.settle(handed_over(outbox, 0).id, SENT, 6.0, 0)
    day_ms = 86_400_000
    outbox.put_test("test later", ["ben"], WAYS, 401 * day_ms)
    assert sorted(states(outbox)) == ["waiting", "waiting", "waiting"]


def test_when_the_clock_of_the_computer_is_set_what_waits_keeps_its_distance(outbox: Outbox) -> None:
    put(outbox, "ben", FOG, 10_000, gather=15)
    outbox.shift(-3_600_000)
    assert outbox.letters()[0].due_ms == 25_000 - 3_600_000
    (incident,) = outbox.incidents()
    assert (incident.seen_ms, incident.begun_ms, incident.last_ms, incident.over_ms) == (
        -3_600_000, 10_000 - 3_600_000, 10_000 - 3_600_000, None
    )


def test_other_programs_read_who_was_told_while_it_is_written(tmp_path: Path, outbox: Outbox) -> None:
    path = tmp_path / "callout.sqlite"
    put(outbox, "ben", FOG, 1000)
    put(outbox, "anna", STOP, 5000)
    assert [(one.person, one.about) for one in letters_of(path)] == [("anna", (STOP,))] * 2 + [("ben", (FOG,))]
    assert {one.person for one in letters_of(path, since_ms=2000)} == {"anna"}
    assert letters_of(tmp_path / "none.sqlite") == ()
    assert not (tmp_path / "none.sqlite").exists()
    (tmp_path / "other").write_bytes(b"no file of ours, and long enough to be looked at" * 20)
    with pytest.raises(StoreError, match="cannot be read"):
        letters_of(tmp_path / "other")


def test_another_programs_file_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "other.sqlite"
    other = sqlite3.connect(path)
    other.execute("CREATE TABLE mine (x)")
    other.commit()
    other.close()
    with pytest.raises(StoreError, match="is not a call-out file of this version; give another --outbox"):
        Outbox(path)
    with pytest.raises(StoreError, match="cannot be used"):
        Outbox(tmp_path)
    with closing(sqlite3.connect(path)) as again:
        assert [row[0] for row in again.execute("SELECT name FROM sqlite_schema")] == ["mine"]


# Makes a step a millisecond for ever and prints its number once it is written.
WRITER = """
import sys
from pathlib import Path
from controller.callout.escalation import Call, Incident, Key
from controller.callout.outbox import Outbox, Way
outbox = Outbox(Path(sys.argv[1]))
number = 0
while True:
    number += 1
    key = Key("north", f"alarm-{number}")
    incident = Incident(key, "high", seen_ms=number, steps=1, begun_ms=number, last_ms=number, told=("ben",))
    outbox.put((incident,), (Call("ben", key, "over"),), {"ben": (Way(f"way {number}", "x"),)}, 0.0, 0.0, number)
    print(number, flush=True)
"""


@pytest.mark.parametrize("kill_after", [1, 7, 23])
def test_killed_at_any_moment_no_step_is_lost_half_written_or_doubled(tmp_path: Path, kill_after: int) -> None:
    path = tmp_path / "callout.sqlite"
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    writer = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path)], env=environment, stdout=subprocess.PIPE, text=True
    )
    assert writer.stdout is not None
    acknowledged = 0
    deadline = time.monotonic() + 60.0
    while acknowledged < kill_after and time.monotonic() < deadline:
        acknowledged = int(writer.stdout.readline())
    writer.send_signal(signal.SIGKILL)
    rest = writer.communicate()[0].split()
    acknowledged = int(rest[-1]) if rest and rest[-1].isdigit() else acknowledged
    with Outbox(path) as outbox:
        letters = outbox.letters(limit=100_000)
        (incident,) = outbox.incidents()
    made = sorted(one.made_ms for one in letters)
    assert made == list(range(1, len(made) + 1))
    assert len(made) >= acknowledged
    assert incident.seen_ms == made[-1]
