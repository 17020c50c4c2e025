"""Boards of several mixes in one chamber: control knows those it is given, the record has them, a restart asks."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from controller.config.bundle import exchange
from controller.config.find import SHIPPED
from controller.config.loader import read
from controller.core.frames import Command, RawInputs
from controller.core.points import of_kind
from controller.core.product.mix import Mix
from controller.core.product.moves import release_list
from controller.core.scan import ScanState
from controller.errors import ConfigError
from controller.page.live.bound import bound
from controller.runtime.changeover import as_recorded
from controller.runtime.resume import begin, differences
from controller.runtime.session import CODEC, Asked, Session, prepare
from controller.store.recorder import Recorder, Scan

STANDING = Asked(chamber="demo-standing", recipe="standing", mix="demo-60", load_t=120.0, mix_degC=30.0, empty=True)
QUICK = SHIPPED / "mixes" / "quick.toml"


@pytest.fixture(scope="module")
def session() -> Session:
    return prepare(replace(STANDING, mixes=("quick",)))


def charged(session: Session, mix: str) -> tuple[ScanState, str]:
    """The state after a board of this mix was told, and what became of the order."""
    points = session.bundle.points
    raw = RawInputs(
        analog=tuple(round(0.5 * (point.raw_lo + point.raw_hi)) for point in of_kind(points, "AI")),
        discrete=tuple(bool(point.normal) for point in of_kind(points, "DI")),
    )
    args = (("bay", 1), ("degC", 30.0), ("level", 1), ("mix", mix), ("tonnes", 1.5))
    found = session.step()(session.fresh(), raw, (Command("c", "charge", "yard", args),), 0.0)
    outcome = next(event for event in found.events if event.kind == "command")
    return found.state, outcome.text


def kept(session: Session, state: ScanState, folder: Path, **facts: Any) -> Path:
    """A record that ends with this state."""
    path = folder / "record.sqlite"
    header = session.header("modbus", simulated=True)
    header = replace(header, facts={**header.facts, **facts})
    recorder = Recorder(path, header, CODEC, began_ms=0, every_scan=True)
    columns = (0.0,) * len(header.computed)
    tags = len(header.tags)
    words = b"\0" * (2 * header.row_words)
    recorder.add(Scan(0, 0, 0.0, words, (20.0,) * tags, (0,) * tags, columns, state))
    recorder.close()
    return path


def test_a_board_of_a_mix_that_was_given_is_taken_and_any_other_is_refused_with_those_known(session: Session) -> None:
    state, said = charged(session, "quick")
    assert said == "charge by yard: done"
    there = state.charges.places[0]
    assert there is not None
    assert there.mix == "quick"
    _state, said = charged(session, "blue")
    assert said.endswith("it was given demo-60, quick; others are given as it begins")
    _state, said = charged(prepare(STANDING), "quick")
    assert "it was given demo-60;" in said


def test_the_record_has_every_mix_word_for_word_and_whoever_reads_it_knows_them(session: Session) -> None:
    header = session.header("modbus", simulated=True)
    assert header.texts["mix quick"] == QUICK.read_text(encoding="utf-8")
    state, _said = charged(session, "quick")
    here = bound(header)
    assert sorted(name for name in here.plan.charges.mixes if name) == ["demo-60", "quick"]
    listed = release_list(here.plan.charges, state.charges, state.product)
    assert [(one.bay, one.level, one.mix) for one in listed] == [(1, 1, "quick")]
    one = prepare(STANDING).header("modbus", simulated=True)
    assert [what for what, _was, _is in differences(header, one)] == ["mix quick"]


def test_the_same_file_twice_is_one_mix_and_two_files_of_one_name_are_refused(tmp_path: Path) -> None:
    again = prepare(replace(STANDING, mixes=("quick", str(QUICK), "demo-60")))
    assert [file.value.name for file in again.others] == ["quick"]
    other = tmp_path / "mine.toml"
    other.write_text(QUICK.read_text(encoding="utf-8") + "# mine\n", encoding="utf-8")
    with pytest.raises(ConfigError) as refused:
        prepare(replace(STANDING, mixes=("quick", str(other))))
    [problem] = refused.value.problems
    assert (problem.file, problem.field, problem.value) == (str(other), "name", "quick")
    with pytest.raises(ConfigError, match="there is no such file"):
        prepare(replace(STANDING, mixes=("nobody",)))


def test_boards_of_a_mix_that_is_not_given_any_more_are_no_surprise_to_the_next_controller(
    session: Session, tmp_path: Path
) -> None:
    """At rest the next controller may have other files; what stands in the chamber it must know."""
    state, _said = charged(session, "quick")
    record = kept(session, state, tmp_path)
    less = prepare(STANDING)
    with pytest.raises(ConfigError, match=r"mix = quick: .*add --other-mix with the file of quick"):
        begin(less, record, less.header("modbus", simulated=True), 5000)
    start = begin(session, record, session.header("modbus", simulated=True), 5000)
    assert start.state.charges.places == state.charges.places


def test_a_start_with_another_mix_keeps_the_one_before_it_for_boards_that_are_there(session: Session) -> None:
    bundle = exchange(session.bundle, None, read(QUICK, Mix))
    after = session.with_charge(bundle, replace(session.asked, mix="quick"))
    assert [file.value.name for file in after.others] == ["demo-60"]
    assert set(after.plan.charges.mixes) == {"", "demo-60", "quick"}


def test_a_cycle_begun_from_the_desk_comes_back_with_the_mixes_of_its_record(session: Session, tmp_path: Path) -> None:
    record = kept(session, session.fresh(), tmp_path, from_desk=True)
    back = as_recorded(prepare(STANDING), record)
    assert [file.value.name for file in back.others] == ["quick"]
    assert back.header("modbus", simulated=True).texts == session.header("modbus", simulated=True).texts
