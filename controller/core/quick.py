"""Quick construction of frozen records on the scan.

The constructor that `dataclass(frozen=True)` writes calls object.__setattr__ once a field: five to ten times the cost
of plain attributes, and a scan makes a dozen records. A maker fills a twin class that is not frozen and has the very
same slots, then lets the object become the record: from there on it is as frozen as any other.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import MISSING, fields
from functools import partial
from typing import Any, TypeVar

Record = TypeVar("Record")
Row = TypeVar("Row", bound=tuple[Any, ...])


def row_maker(row: type[Row]) -> Callable[[tuple[Any, ...]], Row]:
    """A function that builds `row`, a NamedTuple, from all its fields in order as a tuple; defaults are not called.

    Its own constructor is a Python function called from C, which costs four times as much.
    """
    return partial(tuple.__new__, row)


def maker(record: type[Record]) -> Callable[..., Record]:
    """A function that builds `record`, a frozen slotted dataclass, from its fields in order.

    Plain defaults of the last fields stand when they are left out; default factories are not called.

    TypeError for a class with a __post_init__ (it would be skipped) or one that has no slots of its own.
    """
    if hasattr(record, "__post_init__") or "__slots__" not in record.__dict__:
        raise TypeError(f"{record.__name__} must be a slotted dataclass without __post_init__")
    known = fields(record)  # type: ignore[arg-type]
    names = [field.name for field in known]
    defaults = {f"_{field.name}": field.default for field in known if field.default is not MISSING}
    asked = [f"{name}=_{name}" if f"_{name}" in defaults else name for name in names]
    twin = type(f"{record.__name__}Twin", (), {"__slots__": names})
    # Written out and compiled once, as dataclasses write their constructors: one call, one store a field.
    source = [
        f"def make({', '.join(asked)}):",
        "    _made = _twin()",
        *[f"    _made.{name} = {name}" for name in names],
        "    _made.__class__ = _record",
        "    return _made",
    ]
    made: dict[str, Any] = {"_twin": twin, "_record": record, **defaults}
    exec("\n".join(source), made)
    return made["make"]  # type: ignore[no-any-return]
