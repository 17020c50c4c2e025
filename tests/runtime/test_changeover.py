"""A start from the desk with another recipe or charge: control validates it itself, and only at rest."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from controller.cli.kept import kept
from controller.config.find import SHIPPED
from controller.core.frames import Command, Event, RawInputs
from controller.core.points import of_kind
from controller.core.scan import COMPUTED
from controller.runtime.changeover import Change, Changeover, as_recorded
from controller.runtime.session import CODEC, Asked, Session, prepare
from controller.store.desk import Desk, approve, keep_recipe
from controller.store.reader import Reader
from controller.store.recorder import Recorder, Scan
from controller.store.verify import verify

ECO = (SHIPPED / "recipes" / "eco.toml").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def session() -> Session:
    return prepare(Asked(chamber="demo-north", recipe="gentle", mix="demo-60", load_t=120.0, mix_degC=20.0))


class Hand:
    def __init__(self, session: Session, folder: Path) -> None:
        self.desk, self.told, self.trouble = folder / "desk.sqlite", list[Event](), False
        self.session = session
        self.changes = Changeover(
            session, self.desk, "modbus", simulated=True, trouble=lambda: self.trouble, tell=self.told.append
        )

    def start(self, state: Any = None, **args: Any) -> Change | None:
        command = Command("s", "start", "ana", tuple(sorted(args.items())))
        return self.changes.look(state or self.lived(), (command,), self.raw(), 5.0)

    def lived(self) -> Any:
        """A chamber at rest that has been looked at for a while: boards of loaded bays are estimated."""
        state = self.session.fresh()
        for scan in range(5):
            state = self.session.step()(state, self.raw(), (), float(scan)).state
        return state

    def raw(self) -> RawInputs:
        points = self.session.bundle.points
        return RawInputs(
            analog=tuple(round(0.5 * (point.raw_lo + point.raw_hi)) for point in of_kind(points, "AI")),
            discrete=tuple(True for _ in of_kind(points, "DI")),
        )

    def reason(self, **args: Any) -> str:
        """Why a start with these arguments is refused; the session in force stays."""
        change = self.start(**args)
        assert change is not None
        assert (change.step, change.header) == (None, None)
        assert self.changes.session is self.session
        return str(dict(change.commands[0].args)["refuse"])


@pytest.fixture
def hand(session: Session, tmp_path: Path) -> Hand:
    return Hand(session, tmp_path)


def version(hand: Hand, text: str) -> str:
    with Desk(hand.desk) as desk:
        return keep_recipe(desk, "mine", text, "ana")


def test_a_recipe_is_taken_by_its_hash_and_stands_in_the_new_cycles_head(hand: Hand) -> None:
    digest = version(hand, ECO)
    with Desk(hand.desk) as desk:
        approve(desk, digest, "ben", "supervisor")
        approve(desk, digest, "eve", "supervisor")
        approve(desk, digest, "eve", "supervisor", withdrawn=True)
    change = hand.start(recipe=digest, load_t=80.0, mix_degC=25.0, empty_bays="3, 1")
    assert change is not None
    assert change.header is not None
    assert change.header.texts["recipe"] == ECO
    facts = change.header.facts
    assert (facts["recipe"], facts["load_t"], facts["mix_degC"], facts["empty_bays"]) == ("eco", 80.0, 25.0, "1, 3")
    args = dict(change.commands[0].args)
    assert (args["recipe"], args["recipe_sha256"]) == ("eco", digest)
    assert dict(hand.told[0].data) == {"sha256": digest, "approved_by": "ben"}
    assert change.state.product.temperatures_degC[0] == 25.0


def test_the_new_plan_runs_and_starts(hand: Hand) -> None:
    change = hand.start(recipe=version(hand, ECO), load_t=80.0, empty_bays="2")
    assert change is not None and change.step is not None
    state, outcomes = change.state, []
    for scan in range(3):
        result = change.step(state, hand.raw(), change.commands if scan == 0 else (), float(scan))
        state = result.state
        outcomes += [event for event in result.events if event.kind == "command"]
    assert len(outcomes) == 1
    assert dict(outcomes[0].data)["verb"] == "start"


def test_a_plan_that_fails_in_its_first_scan_is_refused(hand: Hand, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever is wrong with it: the plan in force stays, and control goes on."""
    lived = hand.lived()

    def fails(*_: Any) -> Any:
        raise ZeroDivisionError("planted")

    monkeypatch.setattr(Session, "step", lambda self: fails)
    change = hand.changes.look(lived, (Command("s", "start", "ana", (("load_t", 80.0),)),), hand.raw(), 5.0)
    assert change is not None
    assert (change.step, change.header, change.state) == (None, None, lived)
    assert "a scan with it fails" in str(dict(change.commands[0].args)["refuse"])
    assert hand.changes.session is hand.session
    assert hand.told == []


def test_a_start_that_asks_for_nothing_new_is_left_alone(hand: Hand) -> None:
    assert hand.start() is None
    assert hand.start(recipe="gentle") is None
    assert hand.start(recipe="eco") is None  # by name only the recipe loaded; the core refuses it
    assert hand.start(refuse="expired", load_t=10.0) is None


@pytest.mark.parametrize(
    ("args", "said"),
    [
        ({"recipe": "0" * 64}, "the desk has no such version"),
        ({"load_t": 151.0}, "load_t = 151.0: must be 0 to 150"),
        ({"load_t": "80"}, "load_t = 80"),
        ({"mix_degC": True}, "mix_degC = True"),
        ({"mix": "../../etc/passwd"}, "must be one of"),
        ({"mix": 7}, "must be one of"),
        ({"empty_bays": "1,2,3,4,5,6"}, "not all"),
        ({"empty_bays": "7"}, "bays 1 to 6"),
        ({"load_t": 80.0, "recipe": "eco"}, "the recipe loaded is gentle"),
    ],
)
def test_what_cannot_be_meant_is_refused_with_its_reason(hand: Hand, args: dict[str, Any], said: str) -> None:
    version(hand, ECO)
    assert said in hand.reason(**args)


def test_control_does_not_believe_the_desk(hand: Hand) -> None:
    """A text that was changed under its hash, one that is no recipe, one that this chamber cannot run."""
    changed = version(hand, ECO)
    with Desk(hand.desk) as desk, desk.writing() as db:
        db.execute("UPDATE recipe_versions SET text = text || ' '")
    assert "its text was changed" in hand.reason(recipe=changed)
    assert "recipe mine" in hand.reason(recipe=version(hand, "name = 'x'\n"))
    hot = ECO.replace("ceiling_degC = 40.0", "ceiling_degC = 95.0")
    assert "95" in hand.reason(recipe=version(hand, hot))


def test_no_desk_no_rest_no_record_each_refuses(hand: Hand) -> None:
    assert "unable to open" in hand.reason(recipe="a" * 64)
    hand.trouble = True
    assert "the record cannot be written" in hand.reason(load_t=80.0)
    state = hand.session.fresh()
    change = hand.start(replace(state, sequence=replace(state.sequence, state="running")), load_t=80.0)
    assert change is not None
    assert "refused while running" in str(dict(change.commands[0].args)["refuse"])


def test_the_record_begins_a_cycle_with_it_and_a_restart_takes_it_from_there(hand: Hand, tmp_path: Path) -> None:
    record = tmp_path / "record.sqlite"
    session = hand.session
    recorder: Recorder[Any] = Recorder(record, session.header("modbus", simulated=True), CODEC, began_ms=0)
    change = hand.start(recipe=version(hand, ECO), load_t=80.0, age_h=2.0)
    assert change is not None
    image = session.image
    for scan in range(100):
        words = b"\0" * 2 * (1 + image.input_count + image.output_count)
        analog = len(of_kind(session.bundle.points, "AI"))
        recorder.add(
            Scan(
                scan, 1000 * scan, float(scan), words, (0.0,) * analog, (0,) * analog, (0.0,) * len(COMPUTED),
                change.state,
                begins=change.header if scan == 70 else None,
            )
        )
    recorder.close()
    with Reader(record) as reader:
        first, second = reader.cycles()
        assert (first.last_scan, first.header.facts["recipe"]) == (69, "gentle")
        assert second.header == change.header
        assert [frame.scan for frame in reader.frames()] == list(range(100))
    assert verify(record) == []
    again = as_recorded(session, record)
    assert again.header("modbus", simulated=True) == change.header
    assert (again.asked.load_t, again.asked.age_h, again.bundle.recipe.name) == (80.0, 2.0, "eco")
    assert as_recorded(session, tmp_path / "none.sqlite") is session
    assert kept(session, session, tmp_path) == ""
    said = kept(session, again, tmp_path)
    assert f"the cycle in {tmp_path} keeps what it was started with at the desk, recipe eco, 80 t" in said
    assert "recipe gentle, 120 t" in said
    assert f"To begin anew: dewhold order stop --out {tmp_path} while it is in progress, then reset" in said


@pytest.mark.parametrize(("load_t", "told"), [(0.0, True), (60.0, False)])
def test_a_start_without_product_says_so(hand: Hand, load_t: float, told: bool) -> None:
    assert hand.start(load_t=load_t) is not None
    assert hand.told[-1].text.endswith("; no product") is told
