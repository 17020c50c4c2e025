"""Turning tags of a config section into columns of a frame, all problems at once."""

from __future__ import annotations

from controller.core.points import Kind, Point, index_of
from controller.errors import ConfigError, Problem


class Binder:
    """Collects what does not fit while tags are looked up; `done()` raises once with all of it."""

    def __init__(self, section: str, points: tuple[Point, ...], file: str = "chamber file") -> None:
        self._section = section
        self._file = file
        self._columns: dict[Kind, dict[str, int]] = {}
        self._points = points
        self._problems: list[Problem] = []

    def column(self, field: str, tag: str, kind: Kind = "AI") -> int:
        """Column of a tag among the points of its kind; 0 and a problem when the point list has none."""
        if kind not in self._columns:
            self._columns[kind] = index_of(self._points, kind)
        found = self._columns[kind].get(tag)
        if found is None:
            self.refuse(field, tag, f"not an {kind} point of the point list", "add the point or correct the tag")
            return 0
        return found

    def within(self, field: str, value: int, upper: int) -> None:
        """Ask that 1 <= value <= upper (a bay or a level)."""
        if not 1 <= value <= upper:
            self.refuse(field, str(value), f"1 to {upper}", "correct the place of this point")

    def refuse(self, field: str, value: str, limit: str, remedy: str) -> None:
        """Note one problem."""
        self._problems.append(Problem(self._file, f"{self._section}.{field}", value, limit, remedy))

    def done(self) -> None:
        """Raise ConfigError when anything was refused."""
        if self._problems:
            raise ConfigError(self._problems)
