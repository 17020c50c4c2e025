"""What runs have met, so that a campaign in which nothing is found is not one in which nothing happened.

Each run says once what it met; a campaign counts in how many runs that was, and names what none of them met.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import get_args

from controller.core.frames import Event
from controller.core.invariants import invariants
from controller.core.orders.procedure import EDGES, STATES
from controller.core.orders.verbs import VERBS
from controller.core.scan import ScanResult, ScanState
from controller.core.sequence.phase_kinds import PhaseKind
from controller.rig.campaign.cases import CASES
from controller.rig.campaign.moments import REST, STANDING, situation_of
from controller.rig.judging import judge
from controller.runtime.session import Session
from plantsim.faults import Fault, kinds_of

KINDS, SITUATIONS, WAYS, DONE, REFUSED = "kinds of faults", "situations", "ways", "orders done", "orders refused"
STATES_IN, ROWS, ALARMS = "states", "protection rows", "alarms"
INVARIANTS, RULES = "invariants", "rules"
# topic -> its words for people
TOPICS: dict[str, str] = {
    KINDS: "kinds of faults",
    SITUATIONS: "situations in which a chamber was",
    STATES_IN: "states of the procedure",
    WAYS: "ways from state to state",
    DONE: "orders that were carried out",
    REFUSED: "orders that were refused",
    ROWS: "protection rows that tripped",
    ALARMS: "alarms that came",
    INVARIANTS: "invariants with something to say",
    RULES: "rules of the judge with something to say",
}
MUST = (KINDS, SITUATIONS, STATES_IN, INVARIANTS)  # of which a complete campaign has met everything
OUTAGE = "without its controller"
NOT_HERE = frozenset(("overrun",))  # time over a direct link waits: no scan can be late
Met = Mapping[str, tuple[str, ...]]  # topic -> what was met, sorted


class Lookout:
    """Looks at every scan of one run. live: of the invariants, those whose case has come up."""

    def __init__(self, session: Session, state: ScanState) -> None:
        self._session, self._plan, self._before = session, session.plan.invariants, state
        self._left = list(CASES)
        self.live: set[str] = set()
        self.situations: set[str] = set()
        self.states: set[str] = {state.sequence.state}
        self._looked = False

    def restarted(self, state: ScanState) -> None:
        """Another controller goes on from this state."""
        self._before = state

    def look(self, result: ScanResult) -> None:
        """One scan."""
        before, self._before = self._before, result.state
        sequence = result.state.sequence
        if sequence.trail or sequence.phase != before.sequence.phase or not self._looked:
            self._looked = True
            self.states.update(sequence.trail)
            self.situations.add(situation_of(self._session, sequence))
        if self._left:
            came = [name for name in self._left if CASES[name](self._plan, before, result)]
            if came:
                self.live.update(came)
                self._left = [name for name in self._left if name not in self.live]


def met(lookout: Lookout, judged: Iterable[str], faults: Sequence[Fault], events: Sequence[tuple[int, Event]],
        outage: bool, until_s: float) -> Met:
    """All that one run met. judged: rules of the judge that had something to say. outage: the controller was gone in
    it; until_s: when it ended.
    """
    found: dict[str, set[str]] = {topic: set() for topic in TOPICS}
    found[KINDS] = {fault.kind for fault in faults if fault.start_s < until_s}
    found[SITUATIONS], found[STATES_IN] = lookout.situations | ({OUTAGE} if outage else set()), lookout.states
    found[INVARIANTS], found[RULES] = lookout.live, {*judged, *(("journal",) if events else ())}
    for _scan, event in events:
        data = dict(event.data)
        if event.kind == "command":
            found[DONE if data["outcome"] == "done" else REFUSED].add(str(data["verb"]))
        elif event.kind == "state":
            found[WAYS].add(f"{data['from']} > {data['to']}")
        elif event.kind == "trip":
            found[ROWS].add(event.tag)
        elif event.kind == "alarm" and data.get("what") == "comes":
            if event.tag in found[ALARMS]:
                found[RULES].add("alarm-chatters")
            found[ALARMS].add(event.tag)
    return {topic: tuple(sorted(names)) for topic, names in found.items()}


def there_is(sessions: Iterable[Session]) -> dict[str, frozenset[str]]:
    """All that could be met by the chambers of these sessions."""
    plans = [session.plan for session in sessions]
    return {
        KINDS: frozenset(kinds_of()),
        SITUATIONS: frozenset((*get_args(PhaseKind), REST, STANDING, OUTAGE)),
        STATES_IN: frozenset(STATES),
        WAYS: frozenset(f"{before} > {after}" for before, after in EDGES),
        DONE: frozenset(VERBS),
        REFUSED: frozenset(VERBS),
        ROWS: frozenset(row.tag for plan in plans for row in plan.protection.rows),
        ALARMS: frozenset(row.tag for plan in plans for row in plan.alarms.rows),
        INVARIANTS: frozenset(invariants.NAMES),
        RULES: frozenset(judge.RULES) - NOT_HERE,
    }


def counted(runs: Iterable[Met]) -> dict[str, dict[str, int]]:
    """Topic -> name -> in how many runs it was met."""
    counts: dict[str, Counter[str]] = {topic: Counter() for topic in TOPICS}
    for run in runs:
        for topic, names in run.items():
            counts[topic].update(names)
    return {topic: dict(sorted(names.items())) for topic, names in counts.items()}


def missing(counts: Mapping[str, Mapping[str, int]], there: Mapping[str, frozenset[str]]) -> dict[str, list[str]]:
    """Topic -> what no run met."""
    return {topic: sorted(there[topic] - counts[topic].keys()) for topic in TOPICS}


def lacking(counts: Mapping[str, Mapping[str, int]], there: Mapping[str, frozenset[str]]) -> list[str]:
    """What no run met of what a complete campaign must meet, each with its topic."""
    left = missing(counts, there)
    return [f"{topic}: {name}" for topic in MUST for name in left[topic]]


def lines(counts: Mapping[str, Mapping[str, int]], there: Mapping[str, frozenset[str]]) -> list[str]:
    """For people: of each topic how much was met, and the names of what was not."""
    width = max(map(len, TOPICS.values()))
    shown = ["what these runs met:"]
    for topic, left in missing(counts, there).items():
        met_here = len(there[topic]) - len(left)
        line = f"  {TOPICS[topic]:<{width}}  {met_here:>3} of {len(there[topic])}"
        shown.append(line + (f", not: {', '.join(left)}" if left else ""))
    return shown
