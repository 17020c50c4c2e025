"""The call-out at work on real records, with a real mail server and a real web server, minute by minute."""

from __future__ import annotations

import json
import sqlite3
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from controller.callout.plan import Plan
from controller.callout.situation import Watch
from controller.core.frames import Command

MINUTE_MS = 60_000
Chamber, Works = Any, Any  # of conftest


def test_an_alarm_is_told_step_by_step_until_somebody_acknowledges(
    chamber: Chamber, make_works: Callable[..., Works], plan: Plan, make_post_office: Callable[..., Any],
    make_exchange: Callable[..., Any],
) -> None:
    """The emergency stop at 01:02: Ben at once, after ten minutes Cleo too (also by phone), then Ben acknowledges."""
    office, exchange = make_post_office(), make_exchange()
    works = make_works(plan, mails_to=office.port, calls_to=exchange.url)
    works.settle()
    assert office.got == []
    chamber.broken.add("HS-101")
    chamber.live(5)
    works.later(0.1)
    works.settle()
    (first,) = office.got
    assert (first["To"].addresses[0].addr_spec, first["Subject"]) == ("ben@example.com", "demo-north: emergency stop")
    text = first.get_content().replace("\r\n", "\n")
    assert "do    make sure that nobody is in danger" in text
    assert "If nothing happens by 01:12 CET: you again, Cleo Marten." in text
    chamber.live(600)
    works.later(10)
    works.settle()
    assert sorted(one["To"].addresses[0].addr_spec for one in office.got[1:]) == ["ben@example.com", "cleo@example.com"]
    content = json.loads(exchange.got[0][1])
    assert (content["kind"], content["person"], content["alarms"][0]["alarm"], content["alarms"][0]["step"]) == (
        "step", "Cleo Marten", "emergency-stop", 2
    )
    chamber.live(5, Command("a", "acknowledge", "ben"))
    works.later(0.1)
    works.settle()
    told = "demo-north: acknowledged: emergency stop"  # to Ben also the cycle that it broke off, with product inside
    assert sorted(one["Subject"] for one in office.got[3:]) == [told, f"{told} (+1 more)"]
    assert "acknowledged by ben" in office.got[3].get_content()
    chamber.live(3600)
    works.later(60)
    works.settle()
    assert len(office.got) == 5
    assert {letter.state for letter in works.outbox.letters()} == {"sent"}


def test_alarms_that_come_together_go_into_one_message(
    chamber: Chamber, make_works: Callable[..., Works], plan: Plan, make_post_office: Callable[..., Any]
) -> None:
    office = make_post_office()
    works = make_works(replace(plan, gather_s=15.0), mails_to=office.port)
    chamber.broken |= {"HS-101", "HS-103"}
    chamber.live(3)
    works.later(0.05)
    works.settle()
    assert office.got == []
    chamber.broken.add("TZS-103")
    chamber.live(15)
    works.later(0.25)
    works.settle()
    (message,) = office.got
    assert message["Subject"].endswith("(+2 more)")
    assert message.get_content().count("high priority") == 3


def test_a_controller_that_stops_writing_is_told_and_that_it_writes_again_too(
    chamber: Chamber, make_works: Callable[..., Works], plan: Plan, make_post_office: Callable[..., Any]
) -> None:
    office = make_post_office()
    works = make_works(plan, mails_to=office.port)
    works.settle()
    works.later(4.9)
    works.settle()
    assert office.got == []
    works.later(0.2)
    works.settle()
    assert office.got[0]["Subject"] == "demo-north: nothing is recorded any more"
    chamber.live(60)
    works.later(1.0)
    works.settle()
    assert office.got[1]["Subject"] == "demo-north: over: nothing is recorded any more"


def test_a_record_that_was_old_when_the_call_out_began_is_told_at_once(
    chamber: Chamber, make_works: Callable[..., Works], plan: Plan, make_post_office: Callable[..., Any]
) -> None:
    office = make_post_office()
    works = make_works(plan, mails_to=office.port)
    works.now_ms += 60 * MINUTE_MS
    works.service._was = (works.now_ms, works.clock_s)
    works.settle()
    assert office.got[0]["Subject"] == "demo-north: nothing is recorded any more"


def test_a_cycle_that_ended_in_order_may_be_silent(
    chamber: Chamber, make_works: Callable[..., Works], plan: Plan, make_post_office: Callable[..., Any]
) -> None:
    office = make_post_office()
    chamber.recorder.end_cycle({"verdict": "pass"}, chamber.began_ms + 1000 * chamber.scans)
    works = make_works(plan, mails_to=office.port)
    works.settle()
    works.later(300)
    works.settle()
    assert office.got == []


def test_no_record_at_all_is_told_and_nothing_that_stood_is_taken_for_over(
    chamber: Chamber, make_works: Callable[..., Works], plan: Plan, make_post_office: Callable[..., Any]
) -> None:
    """The record is moved away while an alarm stands: it goes on, and the silence is told beside it."""
    office = make_post_office()
    works = make_works(plan, mails_to=office.port)
    chamber.broken.add("HS-101")
    chamber.live(5)
    works.settle()
    chamber.folder.rename(chamber.folder.with_name("away"))
    works.later(6)
    works.settle()
    works.later(6)
    works.settle()
    subjects = [one["Subject"] for one in office.got]
    assert subjects[0] == "demo-north: emergency stop"
    assert any("nothing is recorded any more" in subject for subject in subjects[1:])
    assert not any("over" in subject for subject in subjects)
    chamber.folder.with_name("away").rename(chamber.folder)


def test_a_mail_server_that_is_down_gets_everything_when_it_is_back_and_nothing_twice(
    chamber: Chamber, make_works: Callable[..., Works], plan: Plan, make_post_office: Callable[..., Any],
    free_port: int,
) -> None:
    """Down for six minutes: tried again and again, then one mail with how things are at that moment."""
    port = free_port
    works = make_works(plan, mails_to=port)
    chamber.broken.add("HS-101")
    chamber.live(5)
    for _ in range(6):
        works.settle()
        works.later(1)
        chamber.live(60)
    waiting = works.outbox.letters(states=("waiting",))
    assert [letter.said for letter in waiting] == [f"127.0.0.1:{port}: connection refused"]
    office = make_post_office(port=port)
    works.later(8)
    works.settle()
    works.later(1)
    works.settle()
    ids = [one["Message-ID"] for one in office.got]
    assert len(ids) == len(set(ids)) >= 1


def test_a_slow_server_holds_up_nobody_elses_messages(
    chamber: Chamber, make_works: Callable[..., Works], plan: Plan, make_mute: Callable[..., int],
    make_exchange: Callable[..., Any],
) -> None:
    """Mails hang; the web call to Cleo arrives meanwhile."""
    exchange = make_exchange()
    works = make_works(plan, mails_to=make_mute(), calls_to=exchange.url)
    works.outbox.put_test("now", ["cleo"], works.service._loaded.ways, works.now_ms)
    deadline = time.monotonic() + 60.0
    while not exchange.got and time.monotonic() < deadline:
        works.service.turn()
        time.sleep(0.01)
    assert exchange.got
    assert not all(worker.free for worker in works.service.workers)


def test_the_daily_test_comes_once_a_day_and_is_made_up_when_it_was_missed(
    chamber: Chamber, make_works: Callable[..., Works], plan: Plan, make_post_office: Callable[..., Any]
) -> None:
    """From 01:02 to 13:02 the next day but one: at 07:00 of each day; the call-out sleeps over the second one."""
    office = make_post_office()
    chamber.recorder.end_cycle({}, chamber.began_ms)
    works = make_works(replace(plan, silence_min=1440.0), mails_to=office.port)
    for _ in range(12):
        works.later(60)
        works.settle()
    assert [one["Subject"] for one in office.got] == ["demo works: test of the call-out, all quiet"]
    works.later(22 * 60)  # 11:02 of the next day
    works.settle()
    works.settle()
    assert len(office.got) == 2


def test_when_its_own_file_cannot_be_written_somebody_is_told_all_the_same(
    chamber: Chamber, make_works: Callable[..., Works], plan: Plan, make_post_office: Callable[..., Any],
    make_exchange: Callable[..., Any], monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The disk is full for 40 minutes while the emergency stop stands: told at once and after half an hour; then
    the escalation begins as if nothing had been."""
    office, exchange = make_post_office(), make_exchange()
    works = make_works(plan, mails_to=office.port, calls_to=exchange.url)
    works.settle()
    chamber.broken.add("HS-101")
    chamber.live(5)

    def full(*_args: Any) -> None:
        raise sqlite3.OperationalError("database or disk is full")

    with monkeypatch.context() as patched:
        patched.setattr(works.outbox, "put", full)
        for _ in range(20):
            works.settle()
            works.later(2)
            chamber.live(120)
        deadline = time.monotonic() + 60.0
        while len(office.got) < 2 and time.monotonic() < deadline:
            works.settle()
    subjects = [one["Subject"] for one in office.got]
    assert subjects == ["demo works: the call-out cannot work as it should; demo-north: emergency stop"] * 2
    works.settle()
    assert office.got[-1]["Subject"].startswith("demo-north: emergency stop")


def test_what_waits_for_a_channel_that_is_in_the_file_no_more_is_dropped_and_said(
    chamber: Chamber, make_works: Callable[..., Works], plan: Plan
) -> None:
    works = make_works(plan, mails_to=1, calls_to="http://127.0.0.1:1/")
    works.outbox.put_test("now", ["cleo"], works.service._loaded.ways, works.now_ms)
    without = replace(plan, people=tuple(replace(one, hooks=()) for one in plan.people), hooks=())
    again = make_works(without, mails_to=1)
    states = {letter.channel: letter.state for letter in again.outbox.letters()}
    assert states == {"mail": "waiting", "phones": "dropped"}
    assert any("their channel is in the call-out file no more" in line for line in again.said)


def test_somebody_who_was_told_and_has_left_since_is_not_called_any_more(
    chamber: Chamber, make_works: Callable[..., Works], plan: Plan, make_post_office: Callable[..., Any]
) -> None:
    office = make_post_office()
    works = make_works(plan, mails_to=office.port)
    chamber.broken.add("HS-101")
    chamber.live(5)
    works.settle()
    others = tuple(one for one in plan.people if one.key != "ben")
    shifts = tuple(replace(shift, people=("anna",)) for shift in plan.shifts)
    again = make_works(replace(plan, people=others, shifts=shifts), mails_to=office.port)
    chamber.live(5, Command("a", "acknowledge", "anna"))
    again.settle()
    assert [one["To"].addresses[0].addr_spec for one in office.got] == ["ben@example.com"]


def test_a_clock_that_is_set_neither_wakes_everybody_nor_silences_the_night(
    chamber: Chamber, make_works: Callable[..., Works], plan: Plan, make_post_office: Callable[..., Any]
) -> None:
    """Two hours forward, then five back, by the calendar only: the next step comes ten minutes after the first."""
    office = make_post_office()
    works = make_works(plan, mails_to=office.port)
    chamber.broken.add("HS-101")
    chamber.live(5)
    works.settle()
    for step_h in (2, -5):
        works.now_ms += step_h * 60 * MINUTE_MS
        works.settle()
        assert len(office.got) == 1
    chamber.live(300)
    works.later(9.9)
    works.settle()
    assert len([one for one in office.got if "emergency" in one["Subject"]]) == 1
    works.later(0.2)
    works.settle()
    assert len([one for one in office.got if "emergency" in one["Subject"]]) > 1
    assert any("clock was set by +7200 s" in line for line in works.said)


def test_a_name_that_two_records_share_gets_its_folder(
    chamber: Chamber, make_works: Callable[..., Works], plan: Plan
) -> None:
    works = make_works(plan, folders=[chamber.folder, chamber.folder])
    names = list(works.service._look(works.now_ms).situations)
    assert names == ["demo-north", f"demo-north ({chamber.folder})"]


def test_what_a_record_says_of_its_chamber(chamber: Chamber) -> None:
    """Alarms with UTC of their begin, state, and after enough minutes what limits are near."""
    chamber.live(1800)
    chamber.broken.add("HS-101")
    chamber.live(10)
    watch = Watch(chamber.folder)
    now_ms = chamber.began_ms + 1000 * chamber.scans
    found = watch.details(watch.look(now_ms, 0.0))
    assert (found.chamber, found.simulated, found.procedure) == ("demo-north", False, "aborted")
    by_tag = {one.row.tag: one for one in found.standing}
    assert by_tag["emergency-stop"].state == "U"
    assert abs(by_tag["emergency-stop"].from_ms - (now_ms - 10_000)) <= 1000
    assert found.facts is not None
    assert len(found.facts.age_h) >= 30
    assert dict(found.now)["air"] == pytest.approx(20.0, abs=3.0)
