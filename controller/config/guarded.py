"""What must hold between protection and the points it stands on, so that no row is there on paper only.

A trip above what its probe can read, one contact in two roles or a delay on a hard-wired circuit would pass every
bound of a single field. What a module of the core refuses when it is bound is asked here too: what `check` passes must
start.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date

from controller.config.chamber import ChamberFile
from controller.core.actuation import actuation
from controller.core.alarms import alarms
from controller.core.climate import climate
from controller.core.points import Point
from controller.core.protection import protection
from controller.core.rows.alarms import OWN
from controller.core.rows.protection import HARD_WIRED, ROWS
from controller.core.signals import frozen, signals
from controller.core.upkeep import upkeep
from controller.errors import ConfigError, Problem

Finding = tuple[str, object, str, str]
_DELAY_S, _DELAYS = 120.0, 10.0  # a row may wait so long, or so many times its usual delay; our choice
_RUN_ON_S = 60.0  # of elements and exchangers; our choice, two to five minutes are common practice, no source
_APART_K = 0.5  # as [climate] disagree_K
_OFF = "what heats, wets or says that all is well must be off where nobody controls"


def problems(chamber: ChamberFile, points: tuple[Point, ...], file: str, points_file: str) -> list[Problem]:
    """Everything that makes a row of protection blind, late or idle; for a chamber whose tags are all there."""
    known = {point.tag: point for point in points}
    rules = (
        _hard_wired(chamber), _delays(chamber), _contacts(chamber), _own_rows(chamber), _limits(chamber, known),
        _probes(chamber),
    )  # fmt: skip
    found = [Problem(file, field, str(value), limit, remedy) for rule in rules for field, value, limit, remedy in rule]
    found += [
        Problem(points_file, f"{tag}.safe", f"{known[tag].safe:g}", f"must be 0: {role} of {file}", _OFF)
        for role, tag in _off_alone(chamber) if known[tag].safe
    ]  # fmt: skip
    said = {problem.field for problem in found}
    return found + [problem for problem in _refused(chamber, points, file) if problem.field not in said]


def notes(chamber: ChamberFile, today: date) -> list[str]:
    """Rows that nothing can trip here, and work that is said to be done in days to come; a sentence each."""
    guard = chamber.protection
    said = [
        f"duty {item.tag}: last = {item.last} is yet to come: look at the date"
        for item in chamber.duty if item.last and date.fromisoformat(item.last) > today
    ]  # fmt: skip
    if not guard.doors:
        said.append("protection.doors names no contact: an open door is never seen, heat and fog go on")
    if len(guard.doors) not in (0, 1, chamber.bays):
        said.append(
            f"protection.doors names {len(guard.doors)} contacts for {chamber.bays} bays: each stops fog, but where "
            f"boards come and go {guard.doors[0]} counts for every bay; name one a bay, in their order, or one for all"
        )
    if not guard.product_temperatures:
        said.append("protection.product_temperatures names no probe: the row product-too-hot never trips")
    if guard.airflow == guard.fan_runs:
        said.append(f"protection.airflow and fan_runs are both {guard.airflow}: what it does not see nothing else sees")
    return said


def _hard_wired(chamber: ChamberFile) -> Iterator[Finding]:
    """What is hard-wired is followed as it is: never later, never forgotten by itself."""
    guard = chamber.protection
    for row in HARD_WIRED:
        if guard.delay_s.get(row, 0.0) > 0.0:
            yield (f"protection.delay_s.{row}", f"{guard.delay_s[row]:g}",
                   "must be 0: a hard-wired circuit is followed at once", "take the delay out")
        if not guard.latch.get(row, True):
            yield (f"protection.latch.{row}", "false", "must be true: a person resets what a hard-wired circuit did",
                   "take it out")


def _delays(chamber: ChamberFile) -> Iterator[Finding]:
    """A row that waits for an hour protects nothing, and what is hot must be cooled after it is off."""
    guard = chamber.protection
    for row in ROWS:
        most_s = max(_DELAY_S, _DELAYS * row.delay_s)
        asked_s = guard.delay_s.get(row.tag, 0.0)
        if row.tag not in HARD_WIRED and asked_s > most_s:
            yield (f"protection.delay_s.{row.tag}", f"{asked_s:g}",
                   f"must be at most {most_s:g} s, usual are {row.delay_s:g} s", "lower it: the harm is done by then")
    if chamber.heat.kind in ("electric", "gas") and guard.run_on_s < _RUN_ON_S:
        yield ("protection.run_on_s", f"{guard.run_on_s:g}",
               f"must be at least {_RUN_ON_S:g} s with heat.kind = {chamber.heat.kind}",
               "what has heated is hot when it is off: the fan carries that away")


def _probes(chamber: ChamberFile) -> Iterator[Finding]:
    """Sound probes differ too: what is judged more finely than that leaves all of them out."""
    for name in ("temperature_K", "dew_point_K"):
        value = getattr(chamber.siblings, name)
        if 0.0 < value < _APART_K:
            yield (f"siblings.{name}", f"{value:g}", f"must be 0 (not judged) or at least {_APART_K:g} K",
                   "give what sound probes and places may differ by, and more")


def _contacts(chamber: ChamberFile) -> Iterator[Finding]:
    """One contact, one role: of two that share one, one is not watched."""
    guard = chamber.protection
    roles = [(name, str(getattr(guard, name))) for name in ("emergency_stop", "limiter", "person_inside", "airflow")]
    roles += [("fog_pressure", guard.fog_pressure)]
    roles += [(f"doors[{number}]", tag) for number, tag in enumerate(guard.doors)]
    yield from _once(roles, "protection.")
    yield from _once(
        [(f"product_temperatures[{number}]", tag) for number, tag in enumerate(guard.product_temperatures)],
        "protection.",
    )


def _own_rows(chamber: ChamberFile) -> Iterator[Finding]:
    guard = chamber.protection
    alarmed = {row.tag for row in OWN}
    chains = {guard.emergency_stop: "emergency_stop", guard.limiter: "limiter", guard.person_inside: "person_inside"}
    for number, row in enumerate(guard.row):
        here = f"protection.row[{number}]"
        if row.tag in alarmed:
            yield f"{here}.tag", row.tag, "is the tag of an alarm", "give the row a tag of its own"
        if not row.contacts and not row.readings:
            yield f"{here}.contacts", "none", "nobody can vote", "name contacts or readings"
        for name, tags in (("contacts", row.contacts), ("readings", row.readings)):
            yield from _once([(f"{name}[{place}]", tag) for place, tag in enumerate(tags)], f"{here}.")
        held = [chains[tag] for tag in row.contacts if tag in chains]
        if row.bypassable and held:
            yield (f"{here}.bypassable", "true", f"must be false: the row follows protection.{held[0]}",
                   "a hard-wired circuit is never left out")


def _limits(chamber: ChamberFile, known: dict[str, Point]) -> Iterator[Finding]:
    """A limit outside the span of its probe is never reached: beyond the span a reading is bad, not high."""
    guard = chamber.protection
    for field, limit, tags in (
        ("air_degC_max", guard.air_degC_max, [pair.t for pair in chamber.climate.pairs]),
        ("supply_degC_max", guard.supply_degC_max, [guard.supply]),
        ("product_degC_max", guard.product_degC_max, list(guard.product_temperatures)),
    ):
        if (tag := _blind(limit, tags, known, above=True)) is not None:
            end = f"must be below {known[tag].hi:g}, the end of the span of {tag}"
            yield f"protection.{field}", f"{limit:g}", end, "lower it, or use a probe of a wider span"
    for number, row in enumerate(guard.row):
        for name, value, above in (("above", row.above, True), ("below", row.below, False)):
            if value is None or (tag := _blind(value, row.readings, known, above=above)) is None:
                continue
            point = known[tag]
            end = f"below {point.hi:g}" if above else f"above {point.lo:g}"
            yield (f"protection.row[{number}].{name}", f"{value:g}", f"must be {end}, the end of the span of {tag}",
                   "change it, or use a probe of a wider span")


def _once(roles: list[tuple[str, str]], prefix: str) -> Iterator[Finding]:
    """Tags that stand in more than one of these places."""
    seen: dict[str, str] = {}
    for place, tag in roles:
        first = seen.setdefault(tag, place)
        if first != place:
            yield f"{prefix}{place}", tag, f"already used by {prefix}{first}", "give each its own point"


def _blind(limit: float, tags: list[str] | tuple[str, ...], known: dict[str, Point], *, above: bool) -> str | None:
    """The first of the probes that cannot read beyond the limit."""
    return next((tag for tag in tags if (limit >= known[tag].hi if above else limit <= known[tag].lo)), None)


def _off_alone(chamber: ChamberFile) -> list[tuple[str, str]]:
    """Roles and tags of the outputs that a panel without controller must have off."""
    heat, fog = chamber.heat, chamber.fog
    found = [("heat.enable", heat.enable), ("alarms.healthy", chamber.alarms.healthy)]
    found += [(f"heat.{'fire' if heat.kind == 'gas' else 'valve'}", heat.drive)] if heat.drive else []
    found += [(f"heat.stage[{number}].tag", stage.tag) for number, stage in enumerate(heat.stages)]
    found += [(f"fog.bank[{number}].tag", bank.tag) for number, bank in enumerate(fog.bank)]
    found += [("fog.modulation", fog.modulation)] if fog.modulation else []
    found += [("frame_heating.output", chamber.frame_heating.output)] if chamber.frame_heating else []
    return found


def _refused(chamber: ChamberFile, points: tuple[Point, ...], file: str) -> list[Problem]:
    """What the modules of the core refuse when a cycle is begun, with the name of the file."""
    found: list[Problem] = []

    def ask(bind: Callable[[], object]) -> None:
        try:
            bind()
        except ConfigError as error:
            for one in error.problems:  # its list stands in no section of its own
                field = one.field.removeprefix("duty.") if one.field.startswith("duty.duty[") else one.field
                found.append(Problem(file, field, one.value, one.limit, one.remedy))

    def guard_and_alarms() -> None:
        guard = protection.bind(chamber.protection, points, chamber.heat.kind)
        drives = actuation.bind(chamber.actuation, points)
        alarms.bind(chamber.alarms, points, guard.rows[len(ROWS) :], chamber.heat.kind, drives)

    ask(guard_and_alarms)
    ask(lambda: signals.bind(chamber.signals, points))
    ask(lambda: frozen.bind(chamber.frozen, points, chamber.signals.offset))
    ask(lambda: climate.bind(chamber.climate, points, chamber.bays, chamber.levels))
    ask(lambda: upkeep.bind(chamber.wear, chamber.duty, points))
    return list({problem.field: problem for problem in found}.values())
