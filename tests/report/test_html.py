"""The page: whole HTML that needs nothing else, and every figure in it is the summary's."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from html import unescape
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from controller.report import ran, table
from controller.report.html import page, write_report
from controller.report.recorded import opened
from controller.store.reader import Reader

BYTES_MAX = 1_500_000
VOID = {"meta", "link", "br", "img", "hr", "input"}
# plot -> what must be drawn in it
DRAWN = {
    "temperature": ["line-TY-101", "line-floor", "line-plan", "band-asked", "band-probes"],
    "dew": ["line-MY-101-0", "line-MIC-101F-0", "line-MIC-101V-0", "line-TY-105-0", "line-MY-101-1"],
    "humidity": ["line-MY-102", "line-fog-below", "line-accept"],
    "margin": ["line-TY-106", "strip-0"],
    "spread": ["line-TDI-101"],
    "drying": ["line-FY-104"],
    "outputs": ["line-JT-103", "line-JIC-103", "line-FIC-120", "line-FT-102", "line-FIC-102", "line-FT-101"],
    "product": ["line-TY-104", "line-TY-104H"],
    "age": ["line-KY-104M", "band-positions"],
    "used": ["line-JT-103", "line-JT-101", "line-FT-102"],
    "fought": ["band-JDI-103"],
}


class Strict(HTMLParser):
    """Every tag is closed in order; ids, links and the text are kept."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.tags: set[str] = set()
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.ids += [value or "" for name, value in attrs if name == "id"]
        self.links += [value or "" for name, value in attrs if name in ("href", "src", "action", "data", "xlink:href")]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] not in ("style", "text"):
            self.text.append(data)

    def words(self) -> str:
        return " ".join(" ".join(self.text).split())


def parsed(text: str) -> Strict:
    found = Strict()
    found.feed(text)
    found.close()
    assert found.open == []
    return found


@pytest.mark.parametrize("name", ["day", "troubled"])
def test_the_page_is_whole_and_needs_nothing_else(name: str, request: pytest.FixtureRequest) -> None:
    text = request.getfixturevalue(name).page
    found = parsed(text)
    assert len(found.ids) == len(set(found.ids))
    assert "script" not in found.tags
    assert all(link.startswith("#") and link[1:] in found.ids for link in found.links)
    assert all(target in found.ids for target in re.findall(r"url\(#([^)]+)\)", text))
    assert not re.search(r"https?:|//[a-z]|url\([^#]|@import|\bnan\b", text, re.IGNORECASE)
    assert len(text.encode()) < BYTES_MAX


def test_every_figure_of_the_table_is_the_summarys(day: Any) -> None:
    words = parsed(day.page).words()
    summary = day.facts["summary"]
    for row in table.rows(summary):
        for cell in row[:3]:
            assert cell.replace("degC", "°C").replace("m2", "m²") in words
    hold = summary["truth"]["hold"]
    assert f"{hold['in_band_pct']:.1f} %" in words
    assert f"{summary['ready_h']['actual']:.1f} h after start" in words
    assert f"{summary['ready_h']['forecast']:.1f} h after start" in words
    assert "true in the chamber model" in words
    for alarm in summary["alarms"]:
        assert alarm["text"] in words
    for said in (summary["verdict"].upper(), summary["recipe_sha256"][:16], summary["version"], "estimated, not tested",
                 "16:00:10 UTC", day.facts["proof"].sha256, day.facts["proof"].seal):
        assert said in words


def test_every_plot_has_its_lines_and_every_line_has_data(day: Any) -> None:
    assert [plot.name for plot in day.facts["plots"]] == list(DRAWN)
    for plot in day.facts["plots"]:
        for line in DRAWN[plot.name]:
            path = re.search(rf'<g id="{plot.name}-{line}">.*?<path d="([^"]*)"', plot.svg, re.DOTALL)
            assert path is not None, f"{plot.name}: {line}"
            assert len(re.findall(r"-?\d+(?:\.\d+)? -?\d+(?:\.\d+)?", path[1])) >= 2, f"{plot.name}: {line}"
        assert re.search(r"\d", plot.alt)
        assert unescape(plot.alt) in unescape(day.page)


def test_a_cycle_that_is_not_over_is_summed_up_from_its_record(day: Any, left_open: Path, tmp_path: Path) -> None:
    made = write_report(left_open, tmp_path / "open.html")
    text = (tmp_path / "open.html").read_text(encoding="utf-8")
    words = parsed(text).words()
    assert made["over"] is False
    assert made["changed"] == []
    assert "This cycle is not over" in words
    assert "believed from the probes" in words
    with opened(left_open) as recorded, Reader(left_open) as reader:
        assert recorded.summary["truth"] is None
        assert recorded.summary["scans"] == day.facts["summary"]["scans"]
        assert recorded.summary["recipe_sha256"] == day.facts["summary"]["recipe_sha256"]
        # the sealed summary counts from the first scan, this one from the start of the cycle, five scans later
        hold, sealed = recorded.summary["believed"]["hold"], day.facts["summary"]["believed"]["hold"]
        assert hold["hours"] == pytest.approx(sealed["hours"], abs=2.1 / 60.0)
        assert hold["temperature_degC"]["mean"] == pytest.approx(sealed["temperature_degC"]["mean"], abs=0.01)
        assert ran.span_of(reader.journal(), reader.last_scan()) == recorded.span
    assert f"{hold['temperature_degC']['mean']:.1f} °C" in words


def test_an_older_cycle_is_reported_when_it_is_asked_for(troubled: Any, day: Any) -> None:
    with opened(troubled.record, 1) as first, opened(troubled.record) as second:
        assert (first.number, second.number) == (1, 2)
        assert first.summary == day.facts["summary"]
        assert first.span.began < first.span.ended < second.span.began
        assert [row.id for row in first.journal] != [row.id for row in second.journal]


def test_a_changed_record_is_said_to_be_changed(left_open: Path, tmp_path: Path) -> None:
    with closing(sqlite3.connect(left_open)) as db, db:
        db.execute("UPDATE journal SET text = 'nothing happened' WHERE id = 3")
    made = write_report(left_open, tmp_path / "changed.html")
    words = parsed((tmp_path / "changed.html").read_text(encoding="utf-8")).words()
    assert made["changed"] == ["cycle 1: journal line 3 was changed"]
    assert "The record was changed after it was written." in words
    assert "journal line 3 was changed" in words


def test_no_text_of_a_record_becomes_markup(day: Any, troubled: Any) -> None:
    assert "door &lt;open&gt;" in troubled.page
    hostile = {**day.facts["summary"], "reasons": ["<script>alert(1)</script>"], "verdict": "fail", "chamber": "<b>"}
    text = page({**day.facts, "summary": hostile})
    assert "script" not in parsed(text).tags
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text


def test_the_same_record_gives_the_same_page(day: Any, tmp_path: Path) -> None:
    write_report(day.record, tmp_path / "again.html")
    assert (tmp_path / "again.html").read_text(encoding="utf-8") == day.page
    assert [path.name for path in tmp_path.iterdir()] == ["again.html"]


def test_what_went_wrong_stands_on_the_page(troubled: Any) -> None:
    words = parsed(troubled.page).words()
    for said in ("high limiter: tripped", "First out: limiter", "start, done", "anna", "no answer from the panel",
                 "door of bay 2", "no controller for 0 s", "close it", "TT-101A"):
        assert said in words
