"""The call-out's own file cannot be written: who is told what is not remembered, so all that is left is to tell.

Perhaps the disk is full, and that is the very night on which people must hear of it. One message to those of the first
step of high priority, by every way they have, and again every half hour while it lasts; nothing is kept of it.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable, Sequence
from functools import partial

from controller.callout import mail, webhook, words
from controller.callout.escalation import rule_of
from controller.callout.language import language_of
from controller.callout.outcome import Outcome
from controller.callout.plan import EVERYBODY
from controller.callout.planfile import MAIL, Loaded
from controller.callout.post import Worker
from controller.callout.roster import resolve
from controller.callout.situation import Standing

EVERY_S = 1800.0


class LastResort:
    """Tells without an outbox. say: is told what happens, a line each."""

    def __init__(self, loaded: Loaded, say: Callable[[str], None]) -> None:
        self._loaded, self._say = loaded, say
        self._last_s: float | None = None
        self._workers: dict[str, Worker] = {}

    def tell(
        self, standing: Sequence[tuple[str, Standing]], error: Exception, now_ms: int, clock_s: float
    ) -> None:
        """Tell that the file cannot be written, and what stands now; not more often than every half hour."""
        self._collect()
        if self._last_s is not None and clock_s - self._last_s < EVERY_S:
            return
        self._last_s = clock_s
        plan = self._loaded.plan
        rule = rule_of(plan, "high")
        who = rule.steps[0].who if rule is not None else (EVERYBODY,)
        people = resolve(plan, who, now_ms) or tuple(person.key for person in plan.people)
        self._say(f"the call-out's own file cannot be written: {error}; told without it: {', '.join(people)}")
        for person in people:
            say = language_of(plan, person)
            subject = words.resort_subject(plan, standing, say)
            text = words.resort_text(plan, standing, str(error), now_ms, say)
            for way in self._loaded.ways[person]:
                worker = self._workers.setdefault(f"{person} {way.channel}", Worker(way.channel))
                if worker.free:
                    worker.give(person, self._send(person, way.channel, way.address, subject, text, now_ms))

    def end(self) -> None:
        """Let the workers go."""
        for worker in self._workers.values():
            worker.end()

    def _send(
        self, person: str, channel: str, address: str, subject: str, text: str, now_ms: int
    ) -> Callable[[], Outcome]:
        loaded, made = self._loaded, uuid.uuid4().hex
        name = next((one.name for one in loaded.plan.people if one.key == person), person)
        if channel == MAIL:
            assert loaded.plan.mail is not None
            message = mail.letter(loaded.plan.mail, address, name, made, subject, text, now_ms)
            return partial(mail.send, loaded.plan.mail, loaded.secrets.get(MAIL, ""), message)
        hook = next(hook for hook in loaded.plan.hooks if hook.name == channel)
        content = {"id": made, "kind": "trouble", "site": loaded.plan.name, "person": name}
        body = json.dumps({**content, "subject": subject, "text": text, "alarms": []})
        return partial(webhook.call, hook, loaded.secrets.get(channel, ""), made, body, now_ms // 1000)

    def _collect(self) -> None:
        for worker in self._workers.values():
            done = worker.collect()
            if done is not None:
                self._say(f"trouble to {done[0]} by {worker.channel}: {done[1].result}, {done[1].said}")
