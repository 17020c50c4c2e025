"""Orders from the page: who may give them, that each is given once, and that a draft starts nothing."""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import closing
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from controller.config.find import find
from controller.core.orders.commands import VERBS as CORE_VERBS
from controller.page.people import audit
from controller.page.people.roles import ROLES, VERBS, allowed, needed
from controller.store.desk import Desk
from controller.store.desk_schema import peek_at_desk
from tests.page.conftest import Served

AsRole = Callable[[str], TestClient]
HERE = "/api/v1/chambers/chamber"


def order(verb: str, id_: str = "a" * 32, **more: Any) -> dict[str, Any]:
    return {"id": id_, "verb": verb, **more}


def laid_down(data: Path) -> list[tuple[Any, ...]]:
    if not (data / "desk.sqlite").is_file():
        return []
    with Desk(data / "desk.sqlite") as desk:
        return desk.rows("SELECT id, verb, who, role, seen FROM commands ORDER BY number")


@pytest.mark.parametrize(
    ("role", "verb", "status"),
    [
        ("view", "acknowledge", 403), ("operate", "hold", 200), ("operate", "shelve", 403),
        ("supervise", "shelve", 200), ("operate", "force", 403), ("engineer", "force", 200),
        ("administer", "stop", 403),
    ],
)  # fmt: skip
def test_each_role_gives_its_orders_and_no_others(
    as_role: AsRole, data: Path, role: str, verb: str, status: int
) -> None:
    answer = as_role(role).post(f"{HERE}/commands?wait_s=0", json=order(verb))
    assert answer.status_code == status
    assert len(laid_down(data)) == (1 if status == 200 else 0)


def test_the_same_order_sent_twice_lies_at_the_desk_once(as_role: AsRole, data: Path) -> None:
    browser = as_role("operate")
    for _ in range(2):
        answer = browser.post(f"{HERE}/commands?wait_s=0", json=order("hold", seen="running"))
        assert answer.json() == {"id": "a" * 32, "outcome": None}
    assert laid_down(data) == [("a" * 32, "hold", "person-operate", "operator", "running")]
    other = browser.post(f"{HERE}/commands?wait_s=0", json=order("stop"))
    assert other.status_code == 409
    assert "another order has the id" in other.text


def test_a_phase_is_ended_once_however_many_press(as_role: AsRole, served: Served, data: Path) -> None:
    olga, sven = as_role("operate"), as_role("supervise")
    watch = served.page.feed.watches["chamber"]
    watch.seen = {**watch.seen, "phase": 2}

    def press(browser: TestClient, id_: str, phase: int) -> tuple[int, str]:
        asked = order("next-phase", id_, seen="running", phase=phase)
        answer = browser.post(f"{HERE}/commands?wait_s=0", json=asked)
        return answer.status_code, answer.text

    old = press(olga, "a" * 32, 1)
    assert old[0] == 409
    assert "given for phase 1, it is phase 2 now" in old[1]
    assert press(olga, "b" * 32, 2)[0] == 200
    assert press(olga, "b" * 32, 2)[0] == 200, "the same order again is no other one"
    both = press(sven, "c" * 32, 2)
    assert both[0] == 409
    assert "person-operate has just ended a phase" in both[1]
    assert [row[0] for row in laid_down(data)] == ["b" * 32]
    with Desk(data / "desk.sqlite") as desk:
        assert desk.rows("SELECT args FROM commands") == [('{"phase": 2.0}',)], "the controller looks again"


def test_a_silent_controller_gets_only_orders_that_make_safe(as_role: AsRole, served: Served, data: Path) -> None:
    browser = as_role("operate")
    watch = served.page.feed.watches["chamber"]
    watch.seen = {**watch.seen, "live": False}
    assert browser.post(f"{HERE}/commands?wait_s=0", json=order("start")).status_code == 409
    assert browser.post(f"{HERE}/commands?wait_s=0", json=order("stop", "b" * 32)).status_code == 200
    assert [row[1] for row in laid_down(data)] == ["stop"]


def test_a_locked_session_gives_no_orders(as_role: AsRole, data: Path) -> None:
    browser = as_role("operate")
    browser.post("/lock", json={})
    assert browser.post(f"{HERE}/commands?wait_s=0", json=order("stop")).status_code == 423
    assert laid_down(data) == []


@pytest.mark.parametrize(
    "wrong",
    [
        order("hold", id_="short"), order("hold", id_="x" * 65), order("hold", extra=1), order(""),
        order("hold", args={"n": None}), order("hold", args={"a": [1]}),
        order("hold", args={str(n): 1 for n in range(30)}),
    ],
)  # fmt: skip
def test_what_is_no_order_is_refused_with_its_place(as_role: AsRole, data: Path, wrong: dict[str, Any]) -> None:
    answer = as_role("operate").post(f"{HERE}/commands?wait_s=0", json=wrong)
    assert answer.status_code == 422
    assert answer.json()["detail"][0]["where"].startswith("body.")
    assert laid_down(data) == []


@pytest.mark.parametrize(
    "args",
    [
        {}, {"mix": "C40"}, {"load_t": 0}, {"load_t": 0.0}, {"load_t": -1.0}, {"load_t": 150.5}, {"load_t": "120"},
        {"load_t": True}, {"load_t": None}, {"load_t": 0, "empty_chamber": "yes"},
        {"load_t": 80, "empty_chamber": True},
    ],
)  # fmt: skip
def test_a_start_without_the_tonnes_in_words_or_number_is_refused(
    as_role: AsRole, data: Path, args: dict[str, Any]
) -> None:
    answer = as_role("operate").post(f"{HERE}/commands?wait_s=0", json=order("start", args=args))
    assert answer.status_code == 422
    assert laid_down(data) == []


@pytest.mark.parametrize("args", [{"load_t": 0.1}, {"load_t": 150}, {"load_t": 0, "empty_chamber": True}])
def test_a_start_that_says_what_stands_in_the_chamber_is_laid_down(
    as_role: AsRole, data: Path, args: dict[str, Any]
) -> None:
    assert as_role("operate").post(f"{HERE}/commands?wait_s=0", json=order("start", args=args)).status_code == 200
    assert [row[1] for row in laid_down(data)] == ["start"]


def test_a_field_out_of_its_limits_is_told_with_name_kind_and_limit(as_role: AsRole) -> None:
    answer = as_role("view").post(f"{HERE}/forecasts", json={"load_t": 1250.5, "mix": "x" * 41})
    first, second = answer.json()["detail"]
    assert (first["where"], first["kind"], first["limits"]) == ("body.load_t", "less_than_equal", {"le": 1250.0})
    assert (second["where"], second["kind"], second["limits"]) == ("body.mix", "string_too_long", {"max_length": 40})


def test_a_forecast_for_more_than_the_chamber_takes_is_refused_with_its_own_limit(as_role: AsRole) -> None:
    answer = as_role("view").post(f"{HERE}/forecasts", json={"load_t": 150.5})
    assert answer.status_code == 422
    said = {"where": "body.load_t", "what": "at most 150 t in this chamber", "kind": "less_than_equal"}
    assert answer.json()["detail"] == [{**said, "limits": {"le": 150.0}}]


def test_every_order_stands_in_the_trail(as_role: AsRole, served: Served) -> None:
    as_role("supervise").post(
        f"{HERE}/commands?wait_s=0", json=order("shelve", args={"tag": "waiting", "reason": "known", "hours": 2})
    )
    line = audit.lines(served.page.book)[0]
    assert (line.who, line.what, line.object, line.reason, line.result) == (
        "person-supervise", "shelve", "chamber", "known", "asked"
    )  # fmt: skip


def test_the_trail_says_what_stood_there_before(as_role: AsRole, served: Served) -> None:
    browser, watch = as_role("operate"), served.page.feed.watches["chamber"]
    browser.post(f"{HERE}/commands?wait_s=0", json=order("hold", "a" * 32))
    trim = {"tag": "temperature", "value": 0.5, "hours": 1.0}
    browser.post(f"{HERE}/commands?wait_s=0", json=order("trim", "b" * 32, args=trim))
    watch.seen = {**watch.seen, "by_hand": [{"kind": "trim", "tag": "temperature", "value": 0.5}]}
    browser.post(f"{HERE}/commands?wait_s=0", json=order("trim", "c" * 32, args=trim | {"value": 0.2}))
    found = [(line.what, line.old) for line in audit.lines(served.page.book) if line.what in ("hold", "trim")]
    assert found == [("trim", "trim 0.5"), ("trim", "not overridden"), ("hold", "running")]


@pytest.mark.parametrize("role", ROLES)
def test_every_order_is_taken_from_those_who_may_and_refused_to_others_with_the_reason(
    as_role: AsRole, data: Path, role: str
) -> None:
    browser, taken = as_role(role), 0
    for number, verb in enumerate(sorted(CORE_VERBS)):
        args = {"load_t": 100.0} if verb == "start" else {}
        answer = browser.post(f"{HERE}/commands?wait_s=0", json=order(verb, f"{number:032}", args=args))
        wanted = needed(verb)
        if allowed(role, wanted):
            assert answer.status_code == 200, verb
            taken += 1
        else:
            assert (answer.status_code, answer.json()["detail"]) == (403, f"the role {role} may not {wanted}")
    assert len(laid_down(data)) == taken
    assert set(VERBS) == CORE_VERBS, "every order of control has a right of its own, and none that is no more"


def test_control_can_look_at_the_desk_whatever_the_page_has_just_done(as_role: AsRole, data: Path) -> None:
    """The page keeps its connection, so that no closing one tidies the log away under a lock."""
    browser = as_role("operate")
    for number in range(8):
        browser.post(f"{HERE}/commands?wait_s=0", json=order("hold", f"order-{number:04}"))
        with closing(peek_at_desk(data / "desk.sqlite")) as db:
            assert db.execute("SELECT count(*) FROM commands").fetchone() == (number + 1,)
    assert (data / "desk.sqlite-wal").is_file()


def kept(browser: TestClient, text: str) -> str:
    answer = browser.post(f"{HERE}/recipes", json={"text": text, "why": "a trial"})
    assert answer.status_code == 200, answer.text
    return str(answer.json()["sha256"])


@pytest.fixture
def draft() -> str:
    return find("recipe", "gentle").read_text(encoding="utf-8").replace("rate_K_per_h = 0.8", "rate_K_per_h = 0.7")


def test_a_draft_starts_nothing_until_somebody_else_has_approved_it(as_role: AsRole, data: Path, draft: str) -> None:
    writer, reader = as_role("engineer"), as_role("supervise")
    digest = kept(writer, draft)
    assert digest == sha256(draft.encode()).hexdigest()
    start = order("start", args={"recipe": digest, "load_t": 100.0})
    assert writer.post(f"{HERE}/commands?wait_s=0", json=start).status_code == 403
    assert writer.post(f"{HERE}/recipes/{digest}/ready").status_code == 403
    assert writer.post(f"{HERE}/recipes/{digest}/approval", json={}).status_code == 403
    said = reader.post(f"{HERE}/recipes/{digest}/approval", json={"why": "tried"}).json()
    assert (said["released"], said["approved"]) == (True, "person-supervise")
    assert 0 <= time.time() * 1000 - said["approved_ms"] < 60_000
    assert writer.post(f"{HERE}/commands?wait_s=0", json=start).status_code == 200
    assert laid_down(data)[0][1] == "start"
    assert reader.post(f"{HERE}/recipes/{digest}/approval", json={"withdrawn": True}).json()["released"] is False
    listed = writer.get(f"{HERE}/recipes").json()["recipes"]
    assert [one["approved_ms"] for one in listed if one["sha256"] == digest] == [None]
    again = order("start", "b" * 32, args={"recipe": digest, "load_t": 100.0})
    assert writer.post(f"{HERE}/commands?wait_s=0", json=again).status_code == 403


def test_a_recipe_with_a_problem_is_told_where_and_not_kept(as_role: AsRole, draft: str) -> None:
    browser = as_role("operate")
    wrong = draft.replace("rate_K_per_h = 0.7", "rate_K_per_h = 9.0")
    found = browser.post(f"{HERE}/recipes/check", json={"text": wrong}).json()
    assert [(one["field"], one["value"]) for one in found["problems"]] == [("phase 2: rate_K_per_h", "9 K/h")]
    assert browser.post(f"{HERE}/recipes", json={"text": wrong}).status_code == 422


def test_what_every_recipe_would_do_can_be_compared(as_role: AsRole) -> None:
    found = as_role("view").post(f"{HERE}/forecasts", json={"load_t": 100.0, "mix_degC": 18.0}).json()
    by_name = {one["name"]: one["forecast"] for one in found["recipes"]}
    assert {"gentle", "eco", "fast", "steady"} <= set(by_name)
    assert by_name["fast"]["ready_h"][1] < by_name["gentle"]["ready_h"][1]
    assert by_name["fast"]["heat_kWh"] > by_name["eco"]["heat_kWh"]
    digest = next(one["sha256"] for one in found["recipes"] if one["name"] == "gentle")
    low, mid, high = as_role("view").post(f"{HERE}/forecasts/{digest}", json={"load_t": 100.0}).json()["ready_h"]
    assert low < mid < high


def test_a_forecast_counts_the_bays_that_are_empty_and_refuses_a_chamber_without_any_boards(as_role: AsRole) -> None:
    browser = as_role("view")
    digest = browser.get(f"{HERE}/recipes").json()["recipes"][0]["sha256"]
    full, half = (
        browser.post(f"{HERE}/forecasts/{digest}", json={"load_t": 60, "empty_bays": empty}).json()
        for empty in ([], [3, 4])  # the bays whose boards no probe watches: without them nothing is held in reserve
    )
    assert full["ready_h"] != half["ready_h"]
    for empty in ([1, 2, 3, 4, 5, 6], [7]):
        answer = browser.post(f"{HERE}/forecasts/{digest}", json={"load_t": 60, "empty_bays": empty})
        assert (answer.status_code, "bays 1 to 6" in answer.text) == (422, True)


def test_a_note_is_kept_with_who_left_it(as_role: AsRole) -> None:
    browser = as_role("operate")
    assert browser.post(f"{HERE}/notes", json={"text": "door 3 drips"}).status_code == 200
    assert as_role("view").post(f"{HERE}/notes", json={"text": "x"}).status_code == 403
    found = browser.get(f"{HERE}/notes").json()["notes"]
    assert [(one["who"], one["text"]) for one in found] == [("person-operate", "door 3 drips")]
