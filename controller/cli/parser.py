"""The command line's own mistakes in the words of every other mistake: what, value, limit, remedy."""

from __future__ import annotations

import argparse
import re
from collections.abc import Sequence
from typing import NoReturn

from controller.config.words import closest, listed
from controller.errors import Problem

_TYPE = re.compile(r"argument (?P<option>\S+?)(?:/\S+)?: invalid (?P<kind>float|int) value: '(?P<value>.*)'")
_CHOICE = re.compile(r"argument (?P<option>\S+): invalid choice: '(?P<value>.*?)' \(choose from (?P<known>.*)\)")
_UNKNOWN = re.compile(r"unrecognized arguments: (?P<value>.*)")
_ONE = re.compile(r"argument (?P<option>\S+?)(?:/\S+)?: expected one argument")
_BELOW_ZERO = re.compile(r"-\d[\d.]*/")
_WANTED = {"float": "a number, for example 1.5", "int": "a whole number, for example 1"}


class Parser(argparse.ArgumentParser):
    """An argparse parser that says what it does not understand as a problem, then how the command is used; exit 2."""

    def error(self, message: str) -> NoReturn:
        """Say it and end."""
        self.exit(2, f"{self._problem(message)}\n{self.format_usage()}")

    def _problem(self, message: str) -> Problem | str:
        where, help_ = "command line", f"{self.prog} --help shows what there is"
        if found := _TYPE.fullmatch(message):
            return Problem(where, found["option"], found["value"], f"must be {_WANTED[found['kind']]}", help_)
        if found := _CHOICE.fullmatch(message):
            known = re.findall(r"[\w.-]+", found["known"])
            limit = f"must be one of {listed(known)}"
            return Problem(where, found["option"], found["value"], limit, _meant(found, known))
        if found := _UNKNOWN.fullmatch(message):
            return Problem(where, found["value"], "(given)", "is no option here", _meant(found, _options(self)))
        if found := _ONE.fullmatch(message):
            return Problem(where, found["option"], "(nothing)", "needs a value", f"write {found['option']}=VALUE")
        return f"{where}: {message}; {help_}"


def with_values_below_zero(arguments: Sequence[str]) -> list[str]:
    """`--outdoor -10/80` as `--outdoor=-10/80`: argparse takes what begins with a dash for an option."""
    joined: list[str] = []
    for word in arguments:
        if joined and joined[-1].startswith("--") and "=" not in joined[-1] and _BELOW_ZERO.match(word):
            joined[-1] += f"={word}"
        else:
            joined.append(word)
    return joined


def _options(parser: argparse.ArgumentParser) -> list[str]:
    """Its options and those of its commands."""
    found = [option for action in parser._actions for option in action.option_strings]
    for action in parser._actions:
        if isinstance(action.choices, dict):
            found += [option for command in action.choices.values() for option in _options(command)]
    return found


def _meant(found: re.Match[str], known: Sequence[str]) -> str:
    meant = closest(found["value"].split("=")[0].split(" ")[0], known)
    return f"did you mean {meant}?" if meant else "see --help"
