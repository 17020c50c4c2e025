"""What a whole run says at its end: what was skipped, and how many checks were against something outside.

Nothing may be skipped where everything must be there: DEWHOLD_REQUIRE_ALL=1 turns skipped tests into a failure.
"""

from __future__ import annotations

import os
from collections import Counter

import pytest

_OUTSIDE = "outside"  # property of a test's report: published, library, recomputed or memory


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the class of an outside check where reports carry it, from workers too."""
    for item in items:
        mark = item.get_closest_marker(_OUTSIDE)
        if mark is not None:
            item.user_properties.append((_OUTSIDE, str(mark.args[0]).partition(":")[0]))


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Count the outside checks that passed, by class; only published values and libraries are really outside."""
    cases: Counter[str] = Counter()
    tests = set()
    for report in terminalreporter.stats.get("passed", []):
        kind = dict(report.user_properties).get(_OUTSIDE)
        if kind is not None:
            cases[str(kind)] += 1
            if kind in ("published", "library"):
                tests.add(report.nodeid.partition("[")[0])
    if cases:
        outside = cases["published"] + cases["library"]
        terminalreporter.write_line(
            f"outside checks passed: {outside} cases of {len(tests)} tests ({cases['published']} published, "
            f"{cases['library']} library); not counted: {cases['recomputed']} recomputed, {cases['memory']} from memory"
        )


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """Called once in the process that prints the result; its workers, if any, have sent their reports by then."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if reporter is None or os.environ.get("DEWHOLD_REQUIRE_ALL") != "1":
        return
    skipped = reporter.stats.get("skipped", [])
    if skipped and exitstatus == pytest.ExitCode.OK:
        reporter.write_line(f"{len(skipped)} tests skipped, but DEWHOLD_REQUIRE_ALL=1 asks for all of them", red=True)
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
