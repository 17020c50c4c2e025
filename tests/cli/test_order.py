"""`dewhold order`: what became of an order, in words and exit codes; what is set by hand and due, as a list."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from controller.cli.main import main
from controller.cli.order import _say
from controller.config.find import SHIPPED
from controller.core.frames import Event
from controller.core.hand.lock_out import Lock
from controller.core.hand.register import ByHand, Entry
from controller.core.orders.arguments import FORMS
from controller.core.orders.commands import outcome
from controller.core.upkeep.duty import DutyState
from controller.core.upkeep.upkeep import UpkeepState
from controller.core.upkeep.wear import Drive, WearState
from controller.runtime.desk import DeskOrders
from controller.store.checkpoint import StateCodec
from controller.store.desk import Desk, Order, Outcome, ask
from controller.store.header import Header
from controller.store.recorder import Recorder, Scan
from controller.store.seal import seal_cycle

CHAMBER = (SHIPPED / "chambers" / "demo-north.toml").read_text(encoding="utf-8")


@dataclass(frozen=True, slots=True)
class State:
    by_hand: ByHand
    upkeep: UpkeepState


STATE = State(
    ByHand(
        (
            Entry("force", "TT-110", 20.0, 0.0, 3600.0, "ana", "engineer", "trial"),
            Entry("bypass", "fog-pressure", 0.0, 0.0, 1800.0, "ana", "engineer", "pump"),
        ),
        (Lock("ben", "maintenance", "belt", 0.0),),
    ),
    UpkeepState(
        WearState((True,), (), 0.0, (Drive("YS-101", 7200.0, 3),)),
        DutyState(due=(("beacon-test", 0.0), ("vent-stroke", 5.0)), overdue=("beacon-test",)),
    ),
)


class Control:
    """The least of a controller: takes orders once in a while, refuses what is named "pause"."""

    def __init__(self, out: Path) -> None:
        header = Header(tags=(), computed=(), input_words=1, output_words=1, scan_s=1.0, texts={"chamber": CHAMBER})
        self.recorder: Recorder[Any] = Recorder(
            out / "record.sqlite", header, StateCodec(State), began_ms=0, every_scan=True
        )
        self.orders = DeskOrders(out / "desk.sqlite", out / "record.sqlite", lambda event: None)
        self.taken: list[Any] = []
        self.over = threading.Event()
        self.scan = 0
        self.step()
        self.thread = threading.Thread(target=self.live)

    def step(self) -> None:
        commands = self.orders.due(self.scan)
        self.taken += commands
        events = tuple(outcome(one, "no cycle" if one.verb == "pause" else "") for one in commands)
        self.recorder.add(
            Scan(self.scan, 1000 * self.scan, float(self.scan), b"\0" * 6, (), (), (), STATE, commands, events)
        )
        self.recorder.commit()
        self.scan += 10

    def live(self) -> None:
        while not self.over.wait(0.02):
            self.step()


@pytest.fixture
def control(tmp_path: Path) -> Iterator[Control]:
    made = Control(tmp_path)
    made.thread.start()
    yield made
    made.over.set()
    made.thread.join()
    made.recorder.close()


def test_done_and_refused(control: Control, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = ("--out", str(tmp_path), "--who", "ana")
    assert main(["order", "trim", "tag=temperature", "value=0.5", "hours=1", "reason=a trial", *place]) == 0
    assert capsys.readouterr().out == "trim: done\n"
    assert main(["order", "pause", *place, "--role", "supervisor", "--seen", "running"]) == 1
    assert capsys.readouterr().out == "pause: refused, no cycle\n"
    trim, pause = (dict(command.args) for command in control.taken)
    assert (trim["tag"], trim["value"], trim["reason"], trim["role"]) == ("temperature", 0.5, "a trial", "operator")
    assert (pause["role"], pause["seen"]) == ("supervisor", "running")
    assert main(["order", "stop", *place, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["ok"] is True


def begin(control: Control, *numbers: int) -> None:
    """Phases begin, numbered from 0."""
    events = tuple(Event("phase", "", "rest: begins", (("phase", number), ("what", "begin"))) for number in numbers)
    control.recorder.add(Scan(5, 5000, 5.0, b"\0" * 6, (), (), (), STATE, (), events))
    control.recorder.commit()


def test_the_end_of_a_phase_names_the_phase_that_runs_and_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    control = Control(tmp_path)
    begin(control, 0, 1)
    control.thread.start()
    place = ("--out", str(tmp_path), "--who", "ana")
    try:
        assert main(["order", "next-phase", *place]) == 0
        said = "next-phase: given for phase 2, which runs now; phase=2 says so yourself\nnext-phase: done\n"
        assert capsys.readouterr().out == said
        assert main(["order", "next-phase", "phase=1", *place]) == 0
        assert capsys.readouterr().out == "next-phase: done\n"
        assert main(["order", "next-phase", "--json", *place]) == 0
        assert json.loads(capsys.readouterr().out)["ok"] is True
    finally:
        control.over.set()
        control.thread.join()
        control.recorder.close()
    assert [dict(command.args)["phase"] for command in control.taken] == [2.0, 1.0, 2.0]


def test_an_order_tried_again_under_its_id_is_one_order_with_one_outcome(
    control: Control, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = ("--out", str(tmp_path), "--who", "ana", "--id", "shift-3.board-17")
    charge = ["order", "charge", "bay=1", "level=2", "tonnes=0.5", "degC=20", *place]
    assert [main(charge), main(charge)] == [0, 0]
    assert [command.id for command in control.taken] == ["shift-3.board-17"]
    charge[3] = "level=3"
    assert main(charge) == 3
    assert "another order has the id shift-3.board-17" in capsys.readouterr().err
    for wrong in ("short", "with spaces in", "x" * 65):
        assert main(["order", "stop", "--out", str(tmp_path), "--id", wrong]) == 2
        assert "must be 8 to 64 letters" in capsys.readouterr().err


def test_the_end_of_a_phase_tried_again_under_its_id_is_for_the_same_phase(tmp_path: Path) -> None:
    """The first try came no farther than the desk, as far as its script could see."""
    control = Control(tmp_path)
    begin(control, 0)
    with Desk(tmp_path / "desk.sqlite") as desk:
        ask(desk, Order(verb="next-phase", who="ana", args={"phase": 1.0}, id="fill-over"))
    begin(control, 1)
    control.thread.start()
    try:
        assert main(["order", "next-phase", "--out", str(tmp_path), "--who", "ana", "--id", "fill-over"]) == 0
    finally:
        control.over.set()
        control.thread.join()
        control.recorder.close()
    assert [dict(command.args)["phase"] for command in control.taken] == [1.0]


def test_a_number_that_is_none_reaches_control_as_it_was_written(control: Control, tmp_path: Path) -> None:
    place = ("--out", str(tmp_path), "--who", "ana")
    for text in ("nan", "inf", "-inf", "1e400"):
        assert main(["order", "trim", "tag=temperature", f"value={text}", "hours=1", "reason=x", *place]) == 0
        assert dict(control.taken[-1].args)["value"] == text


def test_words_of_an_order_may_stand_behind_its_options(
    control: Control, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["order", "lift-lock", "--out", str(tmp_path), "of=anna", "--who", "ben", "reason=asked by phone"]) == 0
    args = dict(control.taken[-1].args)
    assert (args["of"], args["reason"]) == ("anna", "asked by phone")
    with pytest.raises(SystemExit):
        main(["order", "stop", "--out", str(tmp_path), "--whoo", "ben"])
    assert "--whoo ben = (given): is no option here; did you mean --who?" in capsys.readouterr().err


def test_a_start_lays_the_recipe_down_and_names_its_hash(control: Control, tmp_path: Path) -> None:
    assert main(["order", "start", "recipe=eco", "load_t=80", "--out", str(tmp_path), "--who", "ana"]) == 0
    args = dict(control.taken[0].args)
    with Desk(tmp_path / "desk.sqlite") as desk:
        ((digest, name, text),) = desk.rows("SELECT sha256, name, text FROM recipe_versions")
    assert (args["recipe"], args["load_t"], name) == (digest, 80, "eco")
    assert text == (SHIPPED / "recipes" / "eco.toml").read_text(encoding="utf-8")


def test_an_order_that_is_not_right_is_refused_with_all_that_is_wrong_before_anybody_sees_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for words, said in (
        (["trim", "hours=1", "reason=x"], "needs tag=temperature or humidity and value=K; for example dewhold order"),
        (["trim", "vale=1", "tag=temperature"], "is no argument of trim; did you mean value? it takes tag"),
        (["trim", "vale=1", "tag=temperature"], "needs value=K, hours=H and reason=TEXT"),
        (["stop", "reason=x"], "is no argument of stop; it takes none"),
        (["charge", "level=1", "tonnes=1", "degC=20"], "needs bay=N"),
        (["stopp"], "did you mean stop?"),
        ([], "VERB"),
    ):
        assert main(["order", *words, "--out", str(tmp_path)]) == 2
        heard = capsys.readouterr().err
        assert said in heard
        assert "None" not in heard
    assert list(tmp_path.iterdir()) == []


def test_the_help_lists_every_order_with_what_it_takes_and_who_is_believed(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["order", "--help"])
    said = capsys.readouterr().out
    for verb, form in FORMS.items():
        assert f"  {verb}: {form.does}" in said
        assert all(one.says in said for one in form.arguments)
    assert "Whoever may write into the folder may order" in said
    assert "--seen is not looked at for what stops" in said


def test_a_record_that_is_over_takes_no_order_and_gets_no_desk(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    control = Control(tmp_path)
    control.recorder.close()
    (tmp_path / "desk.sqlite").unlink(missing_ok=True)
    seal_cycle(tmp_path / "record.sqlite", {"verdict": "pass"}, 1000)
    assert main(["order", "stop", "--out", str(tmp_path), "--wait", "1"]) == 3
    assert "its cycle is over; give the --out folder of a controller that runs" in capsys.readouterr().err
    assert not (tmp_path / "desk.sqlite").exists()


def test_refused_is_said_once(capsys: pytest.CaptureFixture[str]) -> None:
    assert _say("trim", Outcome("1", False, "refused while idle: start it first", 1, 1, 1), as_json=False) == 1
    assert capsys.readouterr().out == "trim: refused while idle: start it first\n"


def test_nobody_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["order", "stop", "--out", str(tmp_path)]) == 3
    assert "no controller has run in" in capsys.readouterr().err
    Control(tmp_path).recorder.close()
    assert main(["order", "stop", "--out", str(tmp_path), "--wait", "1"]) == 3
    assert "nobody took the order stop" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "said"),
    [(("dance",), "must be one of abort"), ((), "(missing)"), (("stop", "now"), "must have a name, = and a value")],
)
def test_bad_input(words: tuple[str, ...], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Control(tmp_path).recorder.close()
    assert main(["order", *words, "--out", str(tmp_path)]) == 2
    assert said in capsys.readouterr().err


def test_the_list_says_who_why_until_when_and_what_is_due(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Control(tmp_path).recorder.close()
    assert main(["order", "--list", "--out", str(tmp_path)]) == 0
    said = capsys.readouterr().out
    assert "locked out by ben (maintenance) since 1970-01-01 00:00 UTC: belt" in said
    assert "TT-110 forced at 20 until 1970-01-01 01:00 UTC, by ana (engineer)" in said
    assert "fog-pressure bypassed until 1970-01-01 00:30 UTC" in said
    lines = said.splitlines()
    first = lines.index("to do:") + 1
    since = "since 1970-01-01 00:00 UTC; "
    assert lines[first].startswith(f"  beacon-test (test of beacon and horn): OVERDUE, due {since}force")
    assert lines[first + 1].startswith(f"  vent-stroke (stroke of the exhaust damper): due {since}put")
    assert "person-inside-test (test of the person-inside button): not due, next on 1970-01-08 00:00 UTC" in said
    assert "fog-flush (flushing of the fog water): not due" in said
    assert lines[-1] == "  YS-101: 2.0 h, 3 starts, on now"
    assert main(["order", "--list", "--out", str(tmp_path), "--json"]) == 0
    facts = json.loads(capsys.readouterr().out)
    assert [one["kind"] for one in facts["by_hand"]] == ["lock-out", "force", "bypass"]
    assert facts["drives"][0]["hours"] == 2.0
