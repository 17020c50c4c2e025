"""Requests drawn from the API's own description: none makes the page fail, whoever sends it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from starlette.testclient import TestClient

from controller.page.people import tokens
from controller.page.people.limiter import Pace
from tests.page.conftest import Served

ENDLESS = "/api/v1/events"  # a stream that only its listener ends
SLOW = ("/forecasts", "/report", "/recipes/check")  # a second of work or more each
PEOPLE = ("/api/v1/people", "/api/v1/tokens", "/api/v1/audit")


def operations(app: Any) -> list[Any]:
    schema = schemathesis.openapi.from_dict(app.openapi())
    found = [one.ok() for one in schema.get_all_operations()]
    return [one for one in found if one.path != ENDLESS]


def test_no_request_of_the_described_kind_makes_the_page_fail(
    served: Served, browse: Callable[[], TestClient], as_role: Callable[[str], TestClient]
) -> None:
    """Valid ones and invalid ones, with the rights to do what is asked; never a 5xx, always a known answer."""
    program = browse()
    secret = tokens.give(served.page.book, "tester", "engineer", 1, "berta")
    program.headers["authorization"] = f"Bearer {secret}"
    boss = as_role("administer")
    served.page.pace = Pace(1e9, 1e9)  # not what is tried here
    statuses: Counter[int] = Counter()
    for operation in operations(served.app):
        sender = boss if operation.path.startswith(PEOPLE) else program
        send_many(operation, sender, 3 if any(part in operation.path for part in SLOW) else 20, statuses)
    assert statuses.total() > 200
    assert statuses[200] > 20, statuses


def send_many(operation: Any, sender: TestClient, examples: int, statuses: Counter[int]) -> None:
    @settings(max_examples=examples, deadline=None, database=None, suppress_health_check=list(HealthCheck))
    @given(case=operation.as_strategy())
    def send(case: Any) -> None:
        asked = case.as_transport_kwargs(base_url="http://localhost")
        if "commands" in case.path:
            asked["params"] = {**(asked.get("params") or {}), "wait_s": 0}
        headers = {**dict(asked.get("headers") or {}), **dict(sender.headers)}
        parts = ("json", "data", "params")
        content = {name: asked[name] for name in parts if asked.get(name) is not None}
        answer = sender.request(asked["method"], asked["url"], headers=headers, **content)
        statuses[answer.status_code] += 1
        assert answer.status_code < 500, (case.method, case.formatted_path, answer.text[:300])

    send()


@pytest.mark.parametrize(
    "path", ["/", "/chamber/chamber", "/people", "/api", "/chamber/nobody", "/login?then=%00", "/setup"]
)
def test_every_address_answers_a_stranger_and_somebody(
    as_role: Callable[[str], TestClient], browse: Callable[[], TestClient], path: str
) -> None:
    assert browse().get(path).status_code < 500
    assert as_role("view").get(path).status_code < 500


def test_the_description_names_every_route_and_says_what_each_is_for(served: Served) -> None:
    described = served.app.openapi()["paths"]  # type: ignore[attr-defined]
    assert len(described) > 20
    silent = [
        f"{method} {path}"
        for path, methods in described.items()
        for method, one in methods.items()
        if not one.get("summary") or not one.get("description")
    ]
    assert silent == []
