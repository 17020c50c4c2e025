"""What-if cases from files: read strictly, asked for by name and amount, listed for people."""

from __future__ import annotations

from dataclasses import dataclass, fields
from pathlib import Path

from controller.config import loader, shapes, words
from controller.config.find import find, known
from controller.config.loader import Loaded
from controller.errors import ConfigError, Problem
from plantsim.faults import KINDS, kinds_of
from plantsim.params import PlantParams
from plantsim.whatif import Amount, Change, Strike, WhatIf, number

OPTION = "--what-if"
# What a case may change beside parameters, with the bounds that the options for it have.
BESIDE: dict[str, tuple[float, float, str]] = {
    "charge.tonnes": (0.0, 150.0, "t"),
    "charge.mix_degC": (5.0, 40.0, "degC"),
    "charge.empty_bay": (1.0, 8.0, ""),
    "weather.degC": (-40.0, 50.0, "degC"),
    "weather.rh_pct": (1.0, 100.0, "%RH"),
}
STRIKES = kinds_of("sensor", "actuator", "plant")


@dataclass(frozen=True, slots=True)
class Case:
    """A case with its name and the amount in force (None where it has none). file: where it was read."""

    name: str
    file: str
    case: WhatIf
    amount: float | None

    @property
    def asked(self) -> str:
        """As on the command line."""
        return self.name if self.amount is None else f"{self.name}={self.amount:g}"

    @property
    def said(self) -> str:
        """The amount in words."""
        entry = self.case.amount
        return "" if entry is None or self.amount is None else entry.text.format(quantity(self.amount, entry.unit))


def read(path: Path) -> Loaded[WhatIf]:
    """The case in a file. Raises ConfigError with all its problems; whether it fits a chamber is asked later."""
    loaded = loader.read(path, WhatIf)
    problems = [Problem(str(path), *found) for found in _problems(loaded.value)]
    if problems:
        raise ConfigError(problems)
    return loaded


def case_of(asked: str) -> Case:
    """The case of NAME or NAME=AMOUNT, a demo name or a path. Raises ConfigError with everything that is wrong."""
    name, _, text = asked.rpartition("=") if "=" in asked else (asked, "", "")
    path = find("whatif", name)
    case = read(path).value
    return Case(Path(name).stem if "/" in name else name, str(path), case, _amount(asked, text, case))


def catalogue() -> list[str]:
    """Two lines for each shipped case: name with its amounts, and what is the matter."""
    lines = []
    for name in known("whatif"):
        case = read(find("whatif", name)).value
        entry = case.amount
        amounts = f"usual {quantity(entry.usual, entry.unit)}, {between(entry)}" if entry else "no amount"
        lines += [f"{name}: {amounts}", f"    {case.text}"]
        if entry:
            lines.append(f"    amount: {entry.text.format('{}').replace('{}', '...')}")
    return lines


def quantity(amount: float, unit: str) -> str:
    """A number with its unit."""
    return f"{amount:g} {unit}".rstrip()


def between(entry: Amount) -> str:
    """The range of an amount in words."""
    return f"{entry.lo:g} to {quantity(entry.hi, entry.unit)}"


def _amount(asked: str, text: str, case: WhatIf) -> float | None:
    entry = case.amount
    if entry is None:
        if text:
            raise _wrong(asked, "has no amount", "leave it out")
        return None
    if not text:
        if asked.endswith("="):
            raise _wrong(asked, f"needs an amount of {between(entry)} behind the =", f"usual is {entry.usual:g}")
        return entry.usual
    limit = f"must be {between(entry)}: {entry.text.format('...')}"
    try:
        amount = float(text)
    except ValueError:
        raise _wrong(asked, limit, f"write a number, usual is {entry.usual:g}") from None
    if not entry.lo <= amount <= entry.hi:
        raise _wrong(asked, limit, f"usual is {entry.usual:g}")
    if entry.whole and amount != int(amount):
        raise _wrong(asked, limit, "write a whole number")
    return amount


def _wrong(asked: str, limit: str, remedy: str) -> ConfigError:
    return ConfigError([Problem("command line", OPTION, asked, limit, remedy)])


def _problems(case: WhatIf) -> list[tuple[str, str, str, str]]:
    """What the class cannot say: (field, value, limit, remedy)."""
    found: list[tuple[str, str, str, str]] = []
    entry = case.amount
    if entry is not None:
        if not entry.lo <= entry.usual <= entry.hi:
            found.append(("amount.usual", f"{entry.usual:g}", f"must be {between(entry)}", "change one of the three"))
        if entry.text.count("{}") != 1 or entry.text.count("{") != 1 or entry.text.count("}") != 1:
            remedy = 'for example "the fan gives {} of its flow"'
            found.append(("amount.text", entry.text, "must have {} once, for the amount", remedy))
    if not (case.change or case.fault or case.stands):
        found.append(("change", "(missing)", "a case must change something", "add [[change]], [[fault]] or [[stands]]"))
    for index, change in enumerate(case.change):
        found += [(f"change[{index}].what", change.what, *rest) for rest in _of_change(change)]
    for index, strike in enumerate(case.fault):
        if strike.kind not in STRIKES:
            limit = "is no kind of fault of chamber or panel"
            found.append((f"fault[{index}].kind", strike.kind, limit, _near(strike.kind, STRIKES)))
    for where, one in _entries(case):
        found += [(where, *rest) for rest in _without_amount(one, entry)]
    if entry is None and any(one.warmer or one.load_power for one in case.stands):
        found.append(("stands", "warmer, load_power", "need an amount", "add a table [amount]"))
    return found


def _entries(case: WhatIf) -> list[tuple[str, Change | Strike]]:
    changes = [(f"change[{index}]", one) for index, one in enumerate(case.change)]
    return [*changes, *((f"fault[{index}]", one) for index, one in enumerate(case.fault))]


def _without_amount(one: Change | Strike, entry: Amount | None) -> list[tuple[str, str, str]]:
    if isinstance(one, Strike) and one.kind in KINDS and KINDS[one.kind].lo == KINDS[one.kind].hi == 0.0:
        return []  # a fault of this kind has no amount at all
    for amount in (None,) if entry is None else (entry.lo, entry.hi):
        try:
            number(one, amount)
        except ValueError:
            return [("(no amount)", "needs a number", "give by = ..., or the case a table [amount]")]
        except (ZeroDivisionError, OverflowError, TypeError):
            return [(f"power = {one.power:g}", f"is nothing for an amount of {amount:g}", "change power or the range")]
    return []


def _of_change(change: Change) -> list[tuple[str, str]]:
    if change.what in BESIDE:
        return []
    sections = tuple(field.name for field in fields(PlantParams))
    head, *rest = change.what.split(".")
    if head not in sections or not rest:
        listed = [*BESIDE, *(f"{name}...." for name in sections if name not in ("name", "probe", "mix", "contacts"))]
        return [("is nothing that a case can change", f"known: {', '.join(listed)}")]
    if not _exists(shapes.below(PlantParams, head), rest):
        return [(f"{head} has no such number", "write it as in a plant file")]
    return []


def _exists(shape: object, rest: list[str]) -> bool:
    """Whether a section, in any of its kinds, has the number."""
    for step in rest:
        shape = shapes.below(shape, step)
    return shapes.number_type(shape) in (int, float)


def _near(word: str, known_words: tuple[str, ...]) -> str:
    meant = words.closest(word, known_words)
    return f"did you mean {meant}?" if meant else f"known: {', '.join(known_words)}"
