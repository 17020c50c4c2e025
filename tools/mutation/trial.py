"""A pytest plugin that tries mutants: one session, and for each mutant a fork in which the function has its slip.

First every test runs once as it is, to learn which functions it calls and how long it takes. Then, for each mutant,
the tests that call its function run in a child, quick ones first, until one fails. The control, once a function: in a
child without a slip all of them pass. Children that use up ten times the time of these tests count as noticed too: a
loop that does not end is a failed test.
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
from collections.abc import Callable, Iterable, Sequence
from itertools import groupby, zip_longest
from time import process_time
from typing import Any

import pytest

from mutation.mutants import Mutant

MEMORY_MAX = 4 << 30  # bytes; a loop that only collects ends too
Found = Callable[[Mutant, str], None]


class Trial:
    """Pass it to `pytest.main` as a plugin. found: is told each mutant with the test that noticed it, "" for none."""

    def __init__(self, mutants: Sequence[Mutant], found: Found) -> None:
        self.mutants, self.found = mutants, found
        self.failed = ""
        self.tests: dict[str, list[pytest.Item]] = {}
        self.took_s: dict[str, float] = {}

    @pytest.hookimpl(tryfirst=True)
    def pytest_collection(self) -> None:
        """No shrinking: that a property fails is enough."""
        from hypothesis import Phase, settings  # pytest wants to be the first to import it

        plain = settings.get_profile("gate")
        settings.register_profile("mutation", plain, phases=(Phase.explicit, Phase.reuse, Phase.generate))
        settings.load_profile("mutation")

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """Instead of running tests once, run them against every mutant."""
        self._learn(session.items)
        if session.testsfailed:
            self.failed = f"{session.testsfailed} tests fail without any mutant"
            return True
        gc.collect()
        gc.freeze()
        for function, mutants in groupby(self.mutants, name_of):
            tests = self.tests.get(function, [])
            fails = self._try(None, tests)
            if fails:
                self.failed = f"{fails} fails in a child without any mutant"
                return True
            for mutant in mutants:
                self.found(mutant, self._try(mutant, tests))
        return True

    def _learn(self, items: list[pytest.Item]) -> None:
        """Which tests call which function, quickest first."""
        functions = {name_of(mutant): function_of(mutant) for mutant in self.mutants}
        called: set[str] = set()
        kept = [(function, listen(name, function, called)) for name, function in functions.items()]
        calls: dict[str, list[pytest.Item]] = defaultdict(list)
        for item, following in zip(items, [*items[1:], *items[:1]], strict=True):  # the last leaves the session set up
            called.clear()
            began = process_time()
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
            self.took_s[item.nodeid] = process_time() - began
            for name in called:
                calls[name].append(item)
        for function, right in kept:
            take_place(function, right)
        self.tests = {name: sorted(tests, key=lambda item: self.took_s[item.nodeid]) for name, tests in calls.items()}

    def _try(self, mutant: Mutant | None, tests: list[pytest.Item]) -> str:
        """Name of the test that noticed, "" when none did. None is the control: nothing is changed."""
        limit_s = 5 + int(10.0 * sum(self.took_s[test.nodeid] for test in tests))
        read, write = os.pipe()
        child = os.fork()
        if child == 0:
            os.close(read)
            resource.setrlimit(resource.RLIMIT_CPU, (limit_s, limit_s + 5))
            resource.setrlimit(resource.RLIMIT_AS, (MEMORY_MAX, MEMORY_MAX))
            noticed = ""
            try:
                if mutant is not None:
                    plant(mutant)
                noticed = first_failure(tests)
            except BaseException as error:  # noqa: BLE001  whatever it is, the mutant did not get through
                noticed = f"{type(error).__name__} while it was planted"
            os.write(write, noticed.encode()[:4000])
            os._exit(0)
        os.close(write)
        with os.fdopen(read, "rb") as pipe:
            noticed = pipe.read().decode()
        _pid, status = os.waitpid(child, 0)
        if os.WIFSIGNALED(status):
            return f"ended by {signal.Signals(os.WTERMSIG(status)).name}"
        return noticed


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


def first_failure(tests: Iterable[pytest.Item]) -> str:
    """Run tests until one fails; its name, or "" when all pass."""
    order = list(tests)
    for test, following in zip_longest(order, order[1:]):
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                _run(test, following)
        except pytest.skip.Exception:
            continue
        except BaseException:  # noqa: BLE001  a failed test is one, and so is an exit
            return test.nodeid
    return ""


def _run(test: Any, following: pytest.Item | None) -> None:
    """What pytest does with one test, without reports."""
    test._initrequest()
    state = test.session._setupstate
    try:
        state.setup(test)
        test.runtest()
    finally:
        state.teardown_exact(following)
