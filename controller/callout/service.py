"""The call-out at work: look at every record, decide, write down, send, keep what became of it; for ever.

Each turn is short and does no waiting; whoever drives it sleeps between turns.
"""

from __future__ import annotations

import json
import sqlite3
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import partial
from pathlib import Path

from controller.callout import mail, webhook, words
from controller.callout.escalation import Key, Need, decide, next_of
from controller.callout.language import Texts, language_of
from controller.callout.lastresort import LastResort
from controller.callout.outbox import TEST, Letter, Outbox
from controller.callout.planfile import MAIL, Loaded
from controller.callout.post import Worker
from controller.callout.roster import moment, resolve, utc, zone_of
from controller.callout.situation import Situation, Standing, Watch, needs

LOOK_S = 2.0
TEST_LATE_MS = 6 * 3_600_000  # a daily test that was missed is made up for so long
CLOCK_STEP_MS = 5_000
Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Seen:
    """One look at all chambers: situations and what needs somebody, by name."""

    situations: dict[str, Situation]
    standing: dict[Key, Standing]


class Service:
    """Everything but the waiting. say: is told what happens, a line each."""

    def __init__(
        self, loaded: Loaded, folders: Sequence[Path], outbox: Outbox, *, say: Say,
        utc_ms: Callable[[], int] = lambda: time.time_ns() // 1_000_000, clock_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._loaded, self._plan, self._outbox = loaded, loaded.plan, outbox
        self._watches = [Watch(folder) for folder in folders]
        self._say, self._utc_ms, self._clock_s = say, utc_ms, clock_s
        channels = {way.channel for ways in loaded.ways.values() for way in ways}
        self.workers = [Worker(channel) for channel in sorted(channels)]
        self._was = (utc_ms(), clock_s())
        self._troubles: dict[str, str] = {}
        stranded = outbox.strand(channels, self._was[0])
        if stranded:
            say(f"{stranded} messages are not sent: their channel is in the call-out file no more")
        self._resort = LastResort(loaded, say)
        again = outbox.recover(self._was[0])
        if again:
            say(f"{again} messages were being sent when the program ended; they are sent again under the same ids")

    def turn(self) -> None:
        """One look, one decision, and the next message of every channel that is free.

        When its own file cannot be written nothing can be remembered, but somebody is told all the same.
        """
        now_ms = self._utc_ms()
        seen = self._look(now_ms)
        try:
            self._follow_clock(now_ms)
            self._decide(seen, now_ms)
            self._test(now_ms)
            self.send(seen, now_ms)
        except sqlite3.Error as error:
            standing = [(key.chamber, one) for key, one in seen.standing.items()]
            self._resort.tell(standing, error, now_ms, self._clock_s())

    def send(self, seen: Seen | None = None, now_ms: int | None = None) -> None:
        """Collect what was sent, and hand the next message to every channel that is free."""
        now_ms = self._utc_ms() if now_ms is None else now_ms
        for worker in self.workers:
            done = worker.collect()
            if done is not None:
                state = self._outbox.settle(done[0], done[1], self._plan.give_up_h, now_ms)
                letter = self._outbox.get(done[0])
                if letter is not None:
                    self._say(f"{letter.kind} to {letter.person} by {letter.channel}: {state}, {done[1].said}")
            while worker.free and (letter := self._outbox.due(now_ms, worker.channel)) is not None:
                self._hand_over(worker, letter, self._look(now_ms) if seen is None else seen, now_ms)

    def status(self) -> str:
        """What it is at, in a line."""
        waiting = len(self._outbox.letters(1000, ("waiting", "sending")))
        return f"watches {len(self._watches)} records; {waiting} messages to send"

    def end(self) -> None:
        """Let the workers go. What they were sending is sent again by the next one, under the same id."""
        for worker in self.workers:
            worker.end()
        self._resort.end()

    def _follow_clock(self, now_ms: int) -> None:
        """A step of the computer's clock moves everything that waits along."""
        clock_s = self._clock_s()
        step_ms = round(now_ms - self._was[0] - 1000.0 * (clock_s - self._was[1]))
        if abs(step_ms) > CLOCK_STEP_MS:
            self._say(f"the computer's clock was set by {step_ms / 1000.0:+.0f} s; what waits keeps its distance")
            self._outbox.shift(step_ms)
        self._was = (now_ms, clock_s)

    def _look(self, now_ms: int) -> Seen:
        situations: dict[str, Situation] = {}
        standing: dict[Key, Standing] = {}
        for watch in self._watches:
            situation = watch.look(now_ms, self._clock_s())
            if situation.chamber in situations:  # two records of one name
                situation = replace(situation, chamber=f"{situation.chamber} ({watch.folder})")
            situations[situation.chamber] = situation
            if self._troubles.get(str(watch.folder), "") != situation.trouble:
                self._troubles[str(watch.folder)] = situation.trouble
                self._say(f"{watch.folder}: {situation.trouble or 'the record can be read again'}")
            for one in needs(situation, self._plan.silence_min):
                standing[Key(situation.chamber, one.row.tag)] = one
        return Seen(situations, standing)

    def _decide(self, seen: Seen, now_ms: int) -> None:
        before = tuple(one for one in self._outbox.incidents() if one.key.chamber in seen.situations)
        needed = [Need(key, one.row.priority) for key, one in seen.standing.items()]
        unknown = {name for name, one in seen.situations.items() if one.trouble}
        # What cannot be seen is neither over nor acknowledged.
        needed += [Need(one.key, one.priority) for one in before
                   if one.over_ms is None and one.key.chamber in unknown and one.key not in seen.standing]
        acknowledged = {Key(name, one.row.tag) for name, situation in seen.situations.items()
                        for one in situation.standing if one.state == "A"}
        after, calls = decide(self._plan, before, needed, acknowledged, self._outbox.undelivered(before), now_ms)
        calls = tuple(call for call in calls if call.person in self._loaded.ways)  # who was told may have left since
        if after != before or calls:
            self._outbox.put(after, calls, self._loaded.ways, self._plan.gather_s, self._plan.pause_s, now_ms)

    def _test(self, now_ms: int) -> None:
        test = self._plan.test
        if test is None:
            return
        today = utc(now_ms).astimezone(zone_of(self._plan.zone)).date()
        for day in (today - timedelta(days=1), today):
            due_ms = round(moment(day, test.at, self._plan.zone).timestamp() * 1000)
            if due_ms <= now_ms < due_ms + TEST_LATE_MS and not self._outbox.marked(f"test {day}"):
                people = resolve(self._plan, test.who, now_ms) or tuple(person.key for person in self._plan.people)
                self._outbox.put_test(f"test {day}", people, self._loaded.ways, now_ms)

    def _hand_over(self, worker: Worker, letter: Letter, seen: Seen, now_ms: int) -> None:
        subject, body = letter.subject, letter.body
        if not body:
            written = self._written(letter, seen, now_ms)
            if written is None:
                self._outbox.drop(letter.id, "nobody was needed any more before it could be sent", now_ms)
                return
            subject, body = written
        self._outbox.sending(letter.id, subject, body)
        secret = self._loaded.secrets.get(letter.channel, "")
        if letter.channel == MAIL:
            assert self._plan.mail is not None
            name = next((one.name for one in self._plan.people if one.key == letter.person), "")
            message = mail.letter(self._plan.mail, letter.address, name, letter.id, subject, body, letter.made_ms)
            worker.give(letter.id, partial(mail.send, self._plan.mail, secret, message))
        else:
            hook = next(hook for hook in self._plan.hooks if hook.name == letter.channel)
            worker.give(letter.id, partial(webhook.call, hook, secret, letter.id, body, now_ms // 1000))

    def _written(self, letter: Letter, seen: Seen, now_ms: int) -> tuple[str, str] | None:
        """Subject and body, of how things are now; None when there is nothing to say any more."""
        plan, say = self._plan, language_of(self._plan, letter.person)
        details = self._detailed(seen)
        more: dict[str, object] = {}
        if letter.kind == TEST:
            failed = self._outbox.failed_since(now_ms - 86_400_000)
            subject = words.test_subject(plan, list(details.values()), say)
            text = words.test_text(plan, list(details.values()), failed, now_ms, say)
        elif letter.kind == "step":
            told = self._told(letter, seen)
            if not told:
                return None
            subject = words.alarm_subject(told, details, say)
            text = words.alarm_text(plan, letter.person, told, details, now_ms, say)
            more = {"alarms": words.facts_of(told, details)}
        else:
            named = [(key.chamber, self._text_of(key, seen, say)) for key in letter.about]
            subject = words.end_subject(letter.kind, named, say)
            text = words.end_text(plan, letter.kind, named, details, now_ms, say)
            more = {"alarms": [{"chamber": key.chamber, "alarm": key.tag} for key in letter.about]}
        if letter.channel == MAIL:
            return subject, text
        name = next((one.name for one in plan.people if one.key == letter.person), letter.person)
        content = {"id": letter.id, "kind": letter.kind, "site": plan.name, "person": name}
        return subject, json.dumps({**content, "subject": subject, "text": text, **more})

    def _told(self, letter: Letter, seen: Seen) -> list[words.Told]:
        incidents = {one.key: one for one in self._outbox.incidents() if one.over_ms is None}
        return [
            words.Told(key.chamber, seen.standing[key], incidents[key], next_of(self._plan, incidents[key]))
            for key in letter.about
            if key in seen.standing and key in incidents
        ]

    def _detailed(self, seen: Seen) -> dict[str, Situation]:
        return {
            name: watch.details(situation)
            for watch, (name, situation) in zip(self._watches, seen.situations.items(), strict=True)
        }

    def _text_of(self, key: Key, seen: Seen, say: Texts) -> str:
        standing = seen.situations.get(key.chamber)
        found = [say.row(one.row).text for one in standing.standing if one.row.tag == key.tag] if standing else []
        return found[0] if found else words.text_of(key.tag, say)


def send_now(service: Service, wanted: Sequence[str], outbox: Outbox, patience_s: float) -> list[Letter]:
    """Send until these messages are settled or the time is over; returns them as they are then."""
    deadline = time.monotonic() + patience_s
    open_states = ("waiting", "sending")
    while time.monotonic() < deadline:
        service.send()
        letters = [letter for one in wanted if (letter := outbox.get(one)) is not None]
        if all(letter.state not in open_states or letter.tries for letter in letters):
            break
        time.sleep(0.05)
    return [letter for one in wanted if (letter := outbox.get(one)) is not None]
