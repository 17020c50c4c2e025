"""What a whole run says at its end: what was skipped, and how many checks were against something outside.

Nothing may be skipped where everything must be there: DEWHOLD_REQUIRE_ALL=1 turns skipped tests into a failure.

How hard properties are tried is a profile, chosen by DEWHOLD_PROPERTIES. gate: the same examples every time the same
tests run together (hypothesis also draws numbers that stand in modules already loaded). full: the same, ten times as
many (`sh tools/test --full`). search: as many, new every time, for looking by hand:
DEWHOLD_PROPERTIES=search pytest tests/properties --hypothesis-seed=7
"""

from __future__ import annotations

import os
from collections import Counter

import pytest
from hypothesis import HealthCheck, settings

_SLOW = [HealthCheck.too_slow, HealthCheck.filter_too_much]  # to draw a whole chamber and to live in it takes a while
settings.register_profile("gate", max_examples=100, derandomize=True, deadline=None, suppress_health_check=_SLOW)
settings.register_profile("full", settings.get_profile("gate"), max_examples=1000)
settings.register_profile("search", settings.get_profile("full"), derandomize=False, print_blob=True)
settings.load_profile(os.environ.get("DEWHOLD_PROPERTIES", "gate"))

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
