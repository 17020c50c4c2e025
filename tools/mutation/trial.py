"""A pytest plugin that tries mutants: one session, and for each mutant a fork in which the function has its slip.

First every test runs once as it is, to learn which functions it calls and how long it takes. Then, for each mutant,
the tests that call its function run in a child, quick ones first, until one fails. The control, once a function: in a
child without a slip all of them pass. Children that use up ten times the time of these tests count as noticed too: a
loop that does not end is a failed test. Time is that of the processor, so a loaded machine changes nothing.
"""

from __future__ import annotations

import gc
import importlib
import os
import resource
import signal
import types
import warnings
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from itertools import groupby, islice, zip_longest
from time import process_time
from typing import Any

import pytest

from mutation.mutants import Mutant

SPARE_S = 5  # of the processor, beside ten times that of the tests
MEMORY_MAX = 4 << 30  # bytes; a loop that only collects ends too
Found = Callable[[Mutant, list[str]], None]


class Trial:
    """Pass it to `pytest.main` as a plugin. found: is told each mutant with the tests that noticed it, at most `until`.

    only: names of tests; others are left alone, and the control is done once for all of them.
    """

    def __init__(
        self, mutants: Sequence[Mutant], found: Found, only: Collection[str] | None = None, until: int = 1
    ) -> None:
        self.mutants, self.found, self.only, self.until = mutants, found, only, until
        self.failed = ""
        self.broken: list[str] = []
        self.by_examples: set[str] = set()  # tests whose examples hypothesis draws: others tomorrow, perhaps
        self.tests: dict[str, list[pytest.Item]] = {}
        self.took_s: dict[str, float] = {}

    @pytest.hookimpl(tryfirst=True)
    def pytest_collection(self) -> None:
        """No shrinking: that a property fails is enough."""
        from hypothesis import Phase, settings  # pytest wants to be the first to import it

        plain = settings.get_profile("gate")
        settings.register_profile("mutation", plain, phases=(Phase.explicit, Phase.reuse, Phase.generate))
        settings.load_profile("mutation")

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        """What cannot be read is told: nobody else reports here."""
        if report.failed:
            self.failed = f"{report.nodeid} cannot be read: {report.longreprtext}"

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Tests that fail as they are."""
        if report.failed:
            self.broken.append(report.nodeid)

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """Instead of running tests once, run them against every mutant."""
        if self.failed:
            return True
        items = [item for item in session.items if self.only is None or item.nodeid in self.only]
        self.by_examples = {item.nodeid for item in items if drawn(item)}
        self._learn(items)
        if self.broken:
            self.failed = f"{', '.join(self.broken)}: fails without any mutant"
            return True
        gc.collect()
        gc.freeze()
        if self.only is not None and not self._holds(items):
            return True
        for function, mutants in groupby(self.mutants, name_of):
            tests = self.tests.get(function, [])
            if self.only is None and not self._holds(tests):
                return True
            for mutant in mutants:
                self.found(mutant, self._try(mutant, tests))
        return True

    def _holds(self, tests: list[pytest.Item]) -> bool:
        """The control: without a slip nothing is noticed."""
        fails = self._try(None, tests)
        if fails:
            self.failed = f"{fails[0]}: fails in a child without any mutant"
        return not fails

    def _learn(self, items: list[pytest.Item]) -> None:
        """Which tests call which function, quickest first."""
        functions = {name_of(mutant): function_of(mutant) for mutant in self.mutants}
        called: set[str] = set()
        kept = [(function, listen(name, function, called)) for name, function in functions.items()]
        calls: dict[str, list[pytest.Item]] = defaultdict(list)
        # The last leaves the session set up, by the first of the others: one that is alone would leave itself.
        for item, following in zip_longest(items, [*items[1:], *items[:1][:len(items) - 1]]):
            called.clear()
            began = process_time()
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
            self.took_s[item.nodeid] = process_time() - began
            for name in called:
                calls[name].append(item)
        for function, right in kept:
            take_place(function, right)
        self.tests = {name: sorted(tests, key=lambda item: self.took_s[item.nodeid]) for name, tests in calls.items()}

    def _try(self, mutant: Mutant | None, tests: list[pytest.Item]) -> list[str]:
        """Names of the tests that noticed. None is the control: nothing is changed."""
        limit_s = SPARE_S + int(10.0 * sum(self.took_s[test.nodeid] for test in tests))
        read, write = os.pipe()
        child = os.fork()
        if child == 0:
            os.close(read)
            resource.setrlimit(resource.RLIMIT_CPU, (limit_s, limit_s + SPARE_S))
            resource.setrlimit(resource.RLIMIT_AS, (MEMORY_MAX, MEMORY_MAX))
            try:
                if mutant is not None:
                    plant(mutant)
                noticed = list(islice(failures(tests), self.until))
            except BaseException as error:  # noqa: BLE001  whatever it is, the mutant did not get through
                noticed = [f"{type(error).__name__} while it was planted"]
            os.write(write, "\n".join(noticed).encode()[:4000])
            os._exit(0)
        os.close(write)
        with os.fdopen(read, "rb") as pipe:
            said = pipe.read().decode()
        _pid, status = os.waitpid(child, 0)
        if os.WIFSIGNALED(status):
            return [f"ended by {signal.Signals(os.WTERMSIG(status)).name}"]
        return said.split("\n") if said else []


def module_of(mutant: Mutant) -> str:
    """The module that a mutant's file is."""
    return mutant.file.removesuffix(".py").replace("/", ".")


def name_of(mutant: Mutant) -> str:
    """The function of a mutant, with its module."""
    return f"{module_of(mutant)}.{mutant.function}"


def function_of(mutant: Mutant) -> types.FunctionType:
    """The function whose place a mutant takes."""
    found: Any = importlib.import_module(module_of(mutant))
    for name in mutant.function.split("."):
        found = vars(found)[name]
    return found  # type: ignore[no-any-return]


def plant(mutant: Mutant) -> None:
    """Give the function its slip, for everybody who has it."""
    function = function_of(mutant)
    short = mutant.function.rpartition(".")[2]
    take_place(function, _made(f"from __future__ import annotations\n{mutant.source}", short, function.__globals__))


def listen(name: str, function: types.FunctionType, called: set[str]) -> types.FunctionType:
    """Have a function note its name in `called` whenever it is called. Returns the function as it was."""
    right = types.FunctionType(function.__code__, function.__globals__, function.__name__, function.__defaults__)
    right.__kwdefaults__ = function.__kwdefaults__
    function.__globals__[f"_right_{function.__qualname__}".replace(".", "_")] = right
    function.__globals__["_note"] = called.add
    source = (
        f"def wrap(*given, **named):\n    _note({name!r})\n"
        f"    return _right_{function.__qualname__.replace('.', '_')}(*given, **named)\n"
    )
    take_place(function, _made(source, "wrap", function.__globals__))
    return right


def take_place(function: types.FunctionType, other: types.FunctionType) -> None:
    """Make one function do what the other does."""
    function.__code__, function.__defaults__ = other.__code__, other.__defaults__
    function.__kwdefaults__ = other.__kwdefaults__


def _made(source: str, name: str, inside: dict[str, Any]) -> types.FunctionType:
    """A function from its source, in the names of a module."""
    made: dict[str, Any] = {}
    exec(compile(source, f"made for {name}", "exec"), inside, made)
    return made[name]  # type: ignore[no-any-return]


def drawn(item: pytest.Item) -> bool:
    """Does hypothesis draw what this test is tried with?"""
    return bool(getattr(getattr(item, "obj", None), "is_hypothesis_test", False))


def failures(tests: Iterable[pytest.Item]) -> Iterator[str]:
    """Run tests; the names of those that fail, as they do."""
    order = list(tests)
    for test, following in zip_longest(order, order[1:]):
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                _run(test, following)
        except pytest.skip.Exception:
            continue
        except BaseException:  # noqa: BLE001  a failed test is one, and so is an exit
            yield test.nodeid


def _run(test: Any, following: pytest.Item | None) -> None:
    """What pytest does with one test, without reports."""
    test._initrequest()
    state = test.session._setupstate
    try:
        state.setup(test)
        test.runtest()
    finally:
        state.teardown_exact(following)
