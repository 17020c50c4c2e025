"""Nothing may be skipped where everything must be there: DEWHOLD_REQUIRE_ALL=1 turns skipped tests into a failure."""

from __future__ import annotations

import os

import pytest


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """Called once in the process that prints the result; its workers, if any, have sent their reports by then."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if reporter is None or os.environ.get("DEWHOLD_REQUIRE_ALL") != "1":
        return
    skipped = reporter.stats.get("skipped", [])
    if skipped and exitstatus == pytest.ExitCode.OK:
        reporter.write_line(f"{len(skipped)} tests skipped, but DEWHOLD_REQUIRE_ALL=1 asks for all of them", red=True)
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
