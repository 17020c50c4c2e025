"""pydantic's findings in the words of somebody who writes a config file."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

from controller.config import shapes
from controller.config.shapes import Loc
from controller.errors import Problem

MISSING = "(missing)"
_PHASE = re.compile(r"phases\[(\d+)\]\.?(.*)")


def problem(file: str, cls: Any, loc: Loc, found: str, given: object, context: dict[str, Any]) -> Problem:
    """One problem in plain words. `found` is pydantic's error type, `context` what it adds, `given` the value.

    loc: place below `cls`; the last step of a missing or unknown key is that key.
    """
    field = shapes.place(shapes.plain_loc(cls, loc))
    if found in ("missing", "missing_argument", "missing_keyword_only_argument"):
        return _missing(file, cls, loc)
    if found in ("unexpected_keyword_argument", "extra_forbidden"):
        return _unknown(file, cls, loc, given)
    shape = shapes.at(cls, loc)
    value = shapes.toml(given)
    limit = "must be " + shapes.describe(shape)
    if found in ("value_error", "assertion_error"):
        return Problem(file, field, value, str(context.get("error", "not allowed")), "change it to fit")
    return Problem(file, field, value, limit, _remedy(found, shape, given, context))


def closest(word: str, known: Sequence[str]) -> str | None:
    """The known word that was probably meant, or None."""
    folded = {name.lower().replace("-", "_"): name for name in known}
    near = difflib.get_close_matches(word.lower().replace("-", "_"), list(folded), n=1, cutoff=0.6)
    return folded[near[0]] if near else None


def listed(names: Sequence[str]) -> str:
    """Names as a list in a sentence, cut when long."""
    shown = ", ".join(names[:24])
    return shown + (f" and {len(names) - 24} more" if len(names) > 24 else "")


def _missing(file: str, cls: Any, loc: Loc) -> Problem:
    shape = shapes.at(cls, loc)
    key = loc[-1] if loc else ""
    plain = shapes.plain_loc(cls, loc)
    table = shapes.place(plain[:-1]) if len(plain) > 1 else "the file"
    if isinstance(key, int):
        return Problem(file, shapes.place(plain), MISSING, "needs one more entry", "add it to the list")
    where = f"at the top of {table}" if table == "the file" else f"to {table}"
    remedy = f"add a table [{shapes.place(plain)}]" if shapes.dataclass_of(shape) else f"add {key} = ... {where}"
    return Problem(file, shapes.place(plain), MISSING, f"needed: {shapes.describe(shape)}", remedy)


def _unknown(file: str, cls: Any, loc: Loc, given: object) -> Problem:
    known = shapes.keys(shapes.at(cls, loc[:-1]))
    meant = closest(str(loc[-1]), known)
    remedy = f"did you mean {meant}?" if meant else f"remove it; known here: {listed(known)}"
    place = shapes.place(shapes.plain_loc(cls, loc))
    return Problem(file, place, shapes.toml(given), f"unknown key {loc[-1]}", remedy)


def _remedy(found: str, shape: Any, given: object, context: dict[str, Any]) -> str:
    """What to do about one kind of finding."""
    bound = next((context[name] for name in ("ge", "gt", "le", "lt") if name in context), None)
    if found == "greater_than_equal":
        return f"raise it to {bound:g} or more"
    if found == "greater_than":
        return f"raise it above {bound:g}"
    if found == "less_than_equal":
        return f"lower it to {bound:g} or less"
    if found == "less_than":
        return f"lower it below {bound:g}"
    if found == "literal_error":
        return _literal_remedy(shape, given)
    if found in ("too_short", "string_too_short"):
        return "add what is missing"
    if found in ("too_long", "string_too_long"):
        return "shorten it"
    if isinstance(given, str) and shapes.number_type(shape) in (int, float) and _number_in(given):
        return f"write {given.strip()} without quotes"
    if isinstance(given, float) and shapes.number_type(shape) is int:
        return f"round it to {round(given)}" if abs(given) < 2**53 else "write a whole number"
    if isinstance(given, int | float) and not isinstance(given, bool) and "text" in shapes.describe(shape):
        return f'put it in quotes: "{given}"'
    if isinstance(given, dict) and "list" in shapes.describe(shape):
        return "for a list of tables write [[name]] with double brackets"
    if isinstance(given, list) and shapes.dataclass_of(shape) is not None:
        return "for one table write [name] with single brackets"
    return f"write {shapes.describe(shape)}"


def _literal_remedy(shape: Any, given: object) -> str:
    described = shapes.describe(shape)
    choices = [part.strip().strip('"') for part in described.removeprefix("one of ").split(",")]
    meant = closest(str(given), choices)
    return f'did you mean "{meant}"?' if meant else "choose one of them"


def _number_in(text: str) -> bool:
    try:
        return math.isfinite(float(text))
    except ValueError:
        return False


def place(field: str, kinds: Mapping[int, str]) -> str:
    """A place in a file, phases counted as the plan does: `phases[1].end` is "phase 2 (ramp): end".

    kinds: of the phases by number from 1, as far as they are known.
    """
    found = _PHASE.fullmatch(field)
    if found is None:
        return field
    number = int(found[1]) + 1
    kind = f" ({kinds[number]})" if number in kinds else ""
    return f"phase {number}{kind}" + (f": {found[2]}" if found[2] else "")
