"""The words of an order on a command line: its verb and its arguments, NAME=VALUE, held to what the order takes."""

from __future__ import annotations

from math import isfinite

from controller.cli import options as opt
from controller.config.words import closest, listed
from controller.core.orders.arguments import FORMS, missing
from controller.errors import ConfigError, Problem


def given(
    verb: str | None, texts: list[str], how: str = "dewhold order {}", about: str = "VERB"
) -> dict[str, str | float | bool]:
    """The arguments of an order. Raises ConfigError with all that is wrong with it. how: an order is given, {} in place
    of verb and words; about: what a wrong verb is a fault of."""
    if verb not in FORMS:
        meant = closest(verb or "", list(FORMS))
        remedy = f"did you mean {meant}?" if meant else "dewhold order --help lists them with their arguments"
        raise opt.problem(about, verb or "(missing)", f"must be one of {', '.join(sorted(FORMS))}", remedy)
    found = dict(_argument(text) for text in texts)
    known = [one.name for one in FORMS[verb].arguments]
    takes = f"it takes {listed(known)}" if known else "it takes none"
    wrong = []
    for name in found:
        if name not in known:
            meant = closest(name, known)
            remedy = f"did you mean {meant}? {takes}" if meant else takes
            wrong.append(Problem("command line", name, str(found[name]), f"is no argument of {verb}", remedy))
    if lacking := missing(verb, frozenset(found)):
        example = f"for example {how.format(f'{verb} {FORMS[verb].example}')}"
        wrong.append(Problem("command line", verb, "(missing)", f"needs {_and(lacking)}", example))
    if wrong:
        raise ConfigError(wrong)
    return found


def _and(names: tuple[str, ...]) -> str:
    return " and ".join([part for part in (", ".join(names[:-1]), names[-1]) if part])


def _argument(text: str) -> tuple[str, str | float | bool]:
    """NAME=VALUE: a number, yes, no, or text, which nan and inf stay: whoever carries it out says what is allowed."""
    name, equals, value = text.partition("=")
    if not equals or not name:
        raise opt.problem("NAME=VALUE", text, "must have a name, = and a value", "for example hours=1")
    if value in ("yes", "no"):
        return name, value == "yes"
    try:
        number = float(value)
    except ValueError:
        return name, value
    return name, number if isfinite(number) else value
