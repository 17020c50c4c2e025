"""Another recipe or charge for a controller that runs: a start from the desk names them, control looks itself.

Only a chamber at rest changes over, between two scans. The recipe's text comes from the desk by its SHA-256, is
validated here like any file, and stands word for word in the record of the cycle that begins with it. A start that
cannot be meant goes on into the scan with the reason against it.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from typing import Any, NamedTuple

from controller.config.bundle import exchange
from controller.config.find import find, known
from controller.config.loader import Loaded, parse, read
from controller.core.frames import Command, Event, RawInputs
from controller.core.orders.procedure import refusal
from controller.core.product.mix import Mix
from controller.core.sequence.recipe import Recipe
from controller.errors import ConfigError, DewholdError, Problem
from controller.runtime.resume import new_charge
from controller.runtime.session import Asked, Session
from controller.store.desk_schema import peek_at_desk
from controller.store.header import OTHER_MIX, Header
from controller.store.reader import Reader
from controller.store.schema import is_begun

# Arguments of a start that say what stands in the chamber: (least, most); and its tonnes, whose most is the chamber's.
LIMITS: dict[str, tuple[float, float]] = {"mix_degC": (5.0, 40.0), "age_h": (0.0, 100.0)}
_CHARGE = ("load_t", *LIMITS, "mix", "empty_bays")
_HEX = frozenset("0123456789abcdef")
_FROM_DESK = "from_desk"  # a fact of the header: a restart takes recipe and charge from the record


class Change(NamedTuple):
    """What goes on from here: commands and state of this scan, the scan under the new plan, and the head of the cycle
    to come. The last two are None when nothing but the commands changed."""

    commands: tuple[Command, ...]
    state: Any
    step: Callable[[Any, RawInputs, tuple[Command, ...], float], Any] | None = None
    header: Header | None = None


class Changeover:
    """Looks at the commands of a scan for a start that asks for another recipe or charge.

    session: the one in force. desk: its file.  trouble: true while the record cannot be written: a cycle is then not
    begun on new terms that nobody could read later.
    """

    def __init__(
        self, session: Session, desk: Path, link: str, *, simulated: bool, trouble: Callable[[], bool],
        tell: Callable[[Event], object],
    ) -> None:
        self.session = session
        self._desk, self._link, self._simulated = desk, link, simulated
        self._trouble, self._tell = trouble, tell

    def look(self, state: Any, commands: tuple[Command, ...], raw: RawInputs, now_s: float) -> Change | None:
        """What changes in this scan, None when nothing does. Never raises for what a desk says.

        raw, now_s: of this scan. A scan is pure, so the new plan is tried on it before it counts.
        """
        for place, command in enumerate(commands):
            if command.verb != "start" or not _wants(command):
                continue
            if any(name == "refuse" for name, _value in command.args):
                continue
            before, after = commands[:place], commands[place + 1 :]
            if state.sequence.state != "idle":
                return Change((*before, _with(command, refuse=refusal(state.sequence.state, "start")), *after), state)
            try:
                if self._trouble():
                    return Change((*before, _with(command, refuse=_UNWRITTEN), *after), state)
                session, told = self._session(dict(command.args))
                start = _with(command, recipe=session.bundle.recipe.name, recipe_sha256=told_hash(session))
                orders, begun = (*before, start, *after), new_charge(session, state)
                session.step()(begun, raw, orders, now_s)
            except (DewholdError, sqlite3.Error, OSError) as error:
                return Change((*before, _with(command, refuse=_brief(error)), *after), state)
            except Exception as error:  # noqa: BLE001  whatever is wrong with it, the plan in force stays in force
                return Change((*before, _with(command, refuse=f"{_UNFIT} ({error!r})"), *after), state)
            self._tell(told)
            self.session = session
            header = session.header(self._link, simulated=self._simulated)
            return Change(orders, begun, session.step(), header)
        return None

    def _session(self, args: dict[str, Any]) -> tuple[Session, Event]:
        """The session that this start asks for. Raises ConfigError and what the desk's file may raise."""
        session = self.session
        bundle, recipe, approved = session.bundle, None, ""
        wanted = args.get("recipe", "")
        if _is_hash(wanted):
            recipe, approved = self._recipe(str(wanted))
        elif wanted and wanted != bundle.recipe.name:
            raise _fault("recipe", wanted, f"the recipe loaded is {bundle.recipe.name}", "name another by its SHA-256")
        mix = _mix(session, args["mix"]) if "mix" in args else None
        bundle = exchange(bundle, recipe, mix)
        asked = _asked(session, args, bundle.recipe.name, bundle.mix.name)
        told = f"recipe {bundle.recipe.name}, {asked.load_t:g} t, mix {bundle.mix.name} at {asked.mix_degC:g} degC"
        told += "" if asked.load_t else "; no product"
        event = Event("note", "RECIPE", told + (f"; recipe approved by {approved}" if approved else ""), (
            ("sha256", bundle.files["recipe"].sha256), ("approved_by", approved),
        ))
        return session.with_charge(bundle, asked), event

    def _recipe(self, digest: str) -> tuple[Loaded[Recipe], str]:
        with closing(peek_at_desk(self._desk)) as db:
            row = db.execute("SELECT name, text FROM recipe_versions WHERE sha256 = ?", (digest,)).fetchone()
            said = db.execute(
                "SELECT who, withdrawn FROM approvals WHERE sha256 = ? ORDER BY id LIMIT 1000", (digest,)
            ).fetchall()
        if row is None or sha256(str(row[1]).encode()).hexdigest() != digest:
            raise _fault("recipe", digest, "the desk has no such version, or its text was changed", "choose it again")
        standing = {str(who): not withdrawn for who, withdrawn in said}
        approved = ", ".join(who for who, stands in standing.items() if stands)
        return parse(str(row[1]).encode(), Recipe, f"recipe {row[0]}"), approved


def as_recorded(session: Session, record: Path) -> Session:
    """The session of the record's newest cycle when that was begun from a desk: a restart goes on with what it began
    with, whatever the command line says. Any other session comes back as it is. Raises ConfigError and StoreError."""
    if not is_begun(record):
        return session
    with closing(Reader(record)) as reader:
        header = reader.header()
    if not header.facts.get(_FROM_DESK):
        return session
    recipe = parse(header.texts["recipe"].encode(), Recipe, "recipe in the record")
    mix = parse(header.texts["mix"].encode(), Mix, "mix in the record")
    others = [
        parse(text.encode(), Mix, f"{kind} in the record")
        for kind, text in header.texts.items() if kind.startswith(OTHER_MIX)
    ]
    bundle = exchange(session.bundle, recipe, mix)
    facts = {name: header.facts[name] for name in ("load_t", "mix_degC", "age_h", "empty_bays") if name in header.facts}
    return session.with_charge(bundle, _asked(session, facts, bundle.recipe.name, bundle.mix.name), others)


def told_hash(session: Session) -> str:
    """SHA-256 of the recipe in force."""
    return session.bundle.files["recipe"].sha256


_UNFIT = "a scan with it fails, so it is not begun: report this with the record"
_UNWRITTEN = "the record cannot be written now, so nobody could read later what was begun; mend the disk first"


def _wants(command: Command) -> bool:
    return any(name in _CHARGE or (name == "recipe" and _is_hash(value)) for name, value in command.args)


def _is_hash(value: object) -> bool:
    return isinstance(value, str) and len(value) == 64 and _HEX.issuperset(value)


def _mix(session: Session, name: object) -> Loaded[Mix]:
    """A mix by the name of a file beside the chamber's, or of a shipped one; never by a path."""
    beside = Path(session.bundle.files["chamber"].path)
    names = known("mix", beside=beside)
    if name not in names:
        raise _fault("mix", name, f"must be one of {', '.join(names)}", "choose one of them")
    return read(find("mix", str(name), beside=beside), Mix)


def _asked(session: Session, args: dict[str, Any], recipe: str, mix: str) -> Asked:
    changes: dict[str, Any] = {"recipe": recipe, "mix": mix, _FROM_DESK: True}
    limits = {"load_t": (0.0, session.bundle.chamber.load_t_max)} | LIMITS
    for name, (least, most) in limits.items():
        value = args.get(name, 0.0 if name == "age_h" else None)
        if value is None:
            continue
        if isinstance(value, bool | str) or not least <= value <= most:
            raise _fault(name, value, f"must be {least:g} to {most:g}", "enter it again")
        changes[name] = float(value)
    if "empty_bays" in args:
        changes["empty_bays"] = _bays(args["empty_bays"], session.bundle.chamber.bays)
    return replace(session.asked, **changes)


def _bays(value: object, bays: int) -> tuple[int, ...]:
    parts = str(value).replace(",", " ").split()
    if not all(part.isdecimal() and 1 <= int(part) <= bays for part in parts) or len(set(parts)) >= bays:
        raise _fault("empty_bays", value, f"must name some of bays 1 to {bays}, not all", 'for example "3" or "1, 2"')
    return tuple(sorted({int(part) for part in parts}))


def _fault(field: str, value: object, limit: str, remedy: str) -> ConfigError:
    return ConfigError([Problem("start", field, str(value), limit, remedy)])


def _brief(error: Exception) -> str:
    """The first problem, and how many more there are."""
    problems = getattr(error, "problems", ())
    more = f" (and {len(problems) - 1} more)" if len(problems) > 1 else ""
    return f"{problems[0] if problems else error}{more}"


def _with(command: Command, **args: str) -> Command:
    return command._replace(args=tuple(sorted((dict(command.args) | args).items())))
