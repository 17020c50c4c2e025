"""What happened in a cycle, for people: alarms, trips, orders, doors, outages, the link, and how good the data are."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple

from controller.core.orders.verbs import CHARGE, DISCHARGE
from controller.core.points import of_kind
from controller.errors import DewholdError
from controller.link.reach import image_of
from controller.report.recorded import Recorded
from controller.report.spoken import action, alarm, duty, order, spoken, who
from controller.report.words import ENGLISH, Words
from controller.store.reader import NOTE_TAG, JournalRow

SCANS_MAX = 1_000_000  # of a longer cycle the door contacts are not looked at: it would take too long


class Spell(NamedTuple):
    """Something that lasted: hours after the start."""

    from_h: float
    to_h: float
    text: str


class Line(NamedTuple):
    """Something at one moment. who: who ordered it, if anybody did."""

    at_h: float
    text: str
    who: str = ""


class Alarm(NamedTuple):
    """An alarm as the summary lists it, with what its journal line says to do."""

    from_h: float
    to_h: float
    priority: str
    text: str
    action: str


class Quality(NamedTuple):
    """A channel that was not good all the time."""

    tag: str
    text: str
    minutes: int


@dataclass(frozen=True, slots=True)
class Happened:
    """All of it. doors: None where the contacts could not be read. link: failures. first_out: tags that tripped first.

    work: tests and service that became due or were done. notes: what people left at the desk.
    good_pct: share of readings (channel and minute) that were good; worst: channels that were not always.
    """

    alarms: list[Alarm]
    trips: list[Line]
    first_out: list[str]
    orders: list[Line]
    states: list[Line]
    doors: list[Spell] | None
    outages: list[Spell]
    link: list[Line]
    work: list[Line]
    notes: list[Line]
    good_pct: float | None
    worst: list[Quality]


def happened(recorded: Recorded, words: Words = ENGLISH) -> Happened:
    """Gather it from journal, frames and minutes; what they say in the words of the report."""
    journal = recorded.journal
    trips = [row for row in journal if row.kind == "trip"]
    good_pct, worst = _quality(recorded, words)
    items = {item.tag: (item.text, item.action) for item in (recorded.chamber.duty if recorded.chamber else ())}
    return Happened(
        alarms=_alarms(recorded, words),
        trips=[Line(recorded.hours(row.utc_ms), alarm(words, row.tag, row.text)) for row in trips],
        first_out=[row.tag for row in trips if row.data.get("first_out")],
        orders=[
            Line(recorded.hours(row.utc_ms), order(words, row.data), who(words, str(row.data.get("who", ""))))
            for row in journal
            if row.kind == "command" and not _in_charge_table(row.data)
        ],
        states=[_line(recorded, row, words) for row in journal if row.kind == "state"],
        doors=_doors(recorded, words),
        outages=[
            Spell(recorded.hours(row.data["from_ms"]), recorded.hours(row.data["to_ms"]), spoken(words, row.text))
            for row in journal
            if row.tag == "OUTAGE" and "from_ms" in row.data
        ],
        link=[_line(recorded, row, words) for row in journal if row.kind == "link"],
        work=[
            Line(
                recorded.hours(row.utc_ms), duty(words, row.tag, row.text, items.get(row.tag)),
                who(words, str(row.data.get("who", ""))),
            )
            for row in journal
            if row.kind == "duty"
        ],
        notes=[
            Line(recorded.hours(row.utc_ms), str(row.data.get("note", row.text)), str(row.data.get("who", "")))
            for row in journal
            if row.kind == "note" and row.tag == NOTE_TAG
        ],
        good_pct=good_pct,
        worst=worst,
    )


def _alarms(recorded: Recorded, words: Words) -> list[Alarm]:
    actions = {row.tag: str(row.data["action"]) for row in recorded.journal if row.data.get("action")}
    return [
        Alarm(
            one["from_s"] / 3600.0,
            one["to_s"] / 3600.0,
            words.shared(f"priority.{one.get('priority', '')}", one.get("priority", "")),
            alarm(words, one["tag"], one["text"]),
            action(words, one["tag"], actions.get(one["tag"], "")),
        )
        for one in recorded.summary["alarms"]
    ]


def _line(recorded: Recorded, row: JournalRow, words: Words) -> Line:
    return Line(recorded.hours(row.utc_ms), spoken(words, row.text))


def _in_charge_table(data: dict[str, Any]) -> bool:
    """Boards that came or left: hundreds in a standing climate, and each is a line of the charge table."""
    return data.get("verb") in (CHARGE, DISCHARGE) and data.get("outcome") == "done"


def _doors(recorded: Recorded, words: Words) -> list[Spell] | None:
    """When each door was open; None when this version cannot tell from the record."""
    if recorded.chamber is None or recorded.points is None or not recorded.devices:
        return None
    last = recorded.reader.last_scan()
    if last is None or last[0] > SCANS_MAX:
        return None
    contacts = of_kind(recorded.points, "DI")
    wanted = set(recorded.chamber.protection.doors)
    doors = [(column, point) for column, point in enumerate(contacts) if point.tag in wanted]
    texts = {point.tag: spoken(words, point.text.removesuffix(" closed")) for _column, point in doors}
    try:
        decode = image_of(recorded.points, recorded.devices).decode
        spells: list[Spell] = []
        open_since: dict[str, float] = {}
        at_h = 0.0
        for at_h, discrete in _contacts(recorded, decode):
            for column, point in doors:
                is_open = discrete[column] != bool(point.normal)
                if is_open and point.tag not in open_since:
                    open_since[point.tag] = at_h
                elif not is_open and point.tag in open_since:
                    spells.append(Spell(open_since.pop(point.tag), at_h, texts[point.tag]))
        spells += [Spell(since, at_h, texts[tag]) for tag, since in open_since.items()]
    except (DewholdError, IndexError):
        return None  # frames of another version's layout
    return sorted(spells)


def _contacts(recorded: Recorded, decode: Any) -> Iterator[tuple[float, tuple[bool, ...]]]:
    """Hours after the start and all contacts, where they changed or the words' age ended; first and last always."""
    before: tuple[bool, ...] = ()
    at_h = 0.0
    for frame in recorded.reader.frames():
        if frame.age_scans or not recorded.span.began <= frame.utc_ms <= recorded.last_ms:
            continue
        at_h = recorded.hours(frame.utc_ms)
        discrete = decode(frame.inputs).discrete
        if discrete != before:
            yield at_h, discrete
            before = discrete
    if before:
        yield at_h, before


def _quality(recorded: Recorded, words: Words) -> tuple[float | None, list[Quality]]:
    texts = {point.tag: point.text for point in recorded.points or ()}
    minutes = poor = 0
    worst: list[Quality] = []
    for tag in recorded.header.tags:
        rows = recorded.minutes(tag)
        bad = sum(1 for row in rows if row.quality)
        minutes, poor = minutes + len(rows), poor + bad
        if bad:
            worst.append(Quality(tag, spoken(words, texts.get(tag, "")), bad))
    worst.sort(key=lambda found: -found.minutes)
    return (100.0 * (minutes - poor) / minutes if minutes else None), worst
