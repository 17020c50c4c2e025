"""Log lines: JSON for machines, short for people."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator

import pytest
import structlog

from controller.runtime.logs import set_up_logs


@pytest.fixture(autouse=True)
def restored() -> Iterator[None]:
    yield
    structlog.reset_defaults()


def test_json_lines_where_nobody_looks() -> None:
    stream = io.StringIO()
    set_up_logs(stream=stream)
    structlog.get_logger().warning("device silent", device="panel-a")
    line = json.loads(stream.getvalue())
    assert (line["event"], line["level"], line["device"]) == ("device silent", "warning", "panel-a")
    assert line["timestamp"].endswith("Z")


def test_short_lines_for_people() -> None:
    stream = io.StringIO()
    set_up_logs(json=False, stream=stream)
    structlog.get_logger().info("device silent", device="panel-a")
    assert stream.getvalue().count("\n") == 1
    assert "device silent" in stream.getvalue()
    assert "{" not in stream.getvalue()
