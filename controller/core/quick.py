"""Quick construction of frozen records on the scan.

The constructor that `dataclass(frozen=True)` writes calls object.__setattr__ once a field: five to ten times the cost
of plain attributes, and a scan makes a dozen records. A maker fills a twin class that is not frozen and has the very
same slots, then lets the object become the record: from there on it is as frozen as any other.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, make_dataclass
from typing import Any, TypeVar

Record = TypeVar("Record")


def maker(record: type[Record]) -> Callable[..., Record]:
    """A function that builds `record`, a frozen slotted dataclass, from all its fields in order (no defaults).

    TypeError for a class with a __post_init__ (it would be skipped) or one that has no slots of its own.
    """
    if hasattr(record, "__post_init__") or "__slots__" not in record.__dict__:
        raise TypeError(f"{record.__name__} must be a slotted dataclass without __post_init__")
    names = [field.name for field in fields(record)]  # type: ignore[arg-type]
    twin: Any = make_dataclass(record.__name__ + "Twin", names, slots=True)

    def make(*values: Any) -> Record:
        made = twin(*values)
        made.__class__ = record
        return made  # type: ignore[no-any-return]

    return make
