"""What-if cases applied to a scene: its parameters, its charge, its weather, and faults that act all the time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from controller.config.find import find
from controller.config.loader import checked
from controller.errors import ConfigError, Problem
from controller.rig import modelfiles
from controller.rig.filling import told
from controller.rig.plant import Scene
from controller.rig.whatif.casefile import BESIDE, OPTION, Case, case_of, quantity
from controller.rig.whatif.told import Told
from plantsim.charge import Charge
from plantsim.faults import KINDS, Fault, objections, places_of, said
from plantsim.filling import Batch, Filling, Move, in_order
from plantsim.pack.mixes import concretes
from plantsim.params import PlantParams
from plantsim.weather import Weather
from plantsim.whatif import Change, Changed, Standing, changed, number
from plantsim.whatif.change import after


def applied(scene: Scene, asked: Sequence[str]) -> Scene:
    """The scene with these cases (NAME or NAME=AMOUNT), one after the other. Raises ConfigError."""
    if not asked:
        return scene
    cases = [case_of(one) for one in asked]
    names = [case.name for case in cases]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise ConfigError([Problem("command line", OPTION, twice, "is given twice", "give it once, with one amount")])
    work = _Work(scene, scene.params or modelfiles.read(find("plant", scene.plant)).value)
    for case in cases:
        work.take(case)
    return work.scene()


@dataclass(slots=True)
class _Work:
    """A scene on its way. done: what each case changed; became: what "becomes" something, and by which case."""

    given: Scene
    params: PlantParams
    charge: Charge = field(init=False)
    weather: Weather = field(init=False)
    faults: list[Fault] = field(default_factory=list)
    stands: list[tuple[Case, Standing]] = field(default_factory=list)
    done: list[Told] = field(default_factory=list)
    became: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.charge, self.weather = self.given.charge, self.given.weather

    def take(self, case: Case) -> None:
        """Change what a case changes. Raises ConfigError."""
        changes = [str(self._change(case, change, index)) for index, change in enumerate(case.case.change)]
        self.params = checked(self.params, f"{OPTION} {case.asked}")
        changes += [self._strike(case, index) for index in range(len(case.case.fault))]
        changes += [self._stand(case, index) for index in range(len(case.case.stands))]
        self.done.append(Told(case.name, case.amount, case.case.text, case.said, tuple(changes)))

    def scene(self) -> Scene:
        """All of it together."""
        filling = _filling(self.params, self.charge, self.stands) if self.stands else self.given.filling
        charge = replace(told(filling), empty_bays=self.charge.empty_bays) if self.stands else self.charge
        return replace(
            self.given,
            params=self.params,
            charge=charge,
            weather=self.weather,
            filling=filling,
            empty_degC=self.charge.mix_degC if self.stands else self.given.empty_degC,
            faults=(*self.given.faults, *self.faults),
            what_if=(*self.given.what_if, *self.done),
        )

    def _change(self, case: Case, change: Change, index: int) -> Changed:
        if change.how == "becomes":
            if change.what in self.became:
                limit = f"is set by {self.became[change.what]} already"
                raise _unfit(case, f"change[{index}].what", change.what, limit, "ask for one of the two")
            self.became[change.what] = case.asked
        if change.what in BESIDE:
            return self._beside(case, change, index)
        try:
            self.params, done = changed(self.params, change, case.amount)
        except KeyError as error:
            limit = f"this chamber model has no such number: {error.args[0]}"
            raise _unfit(case, f"change[{index}].what", change.what, limit, "choose another --plant") from None
        return done

    def _beside(self, case: Case, change: Change, index: int) -> Changed:
        """The charge and the weather."""
        if change.what.startswith("charge.") and self.given.filling:
            limit = "cannot stand beside --filling, which says what comes"
            raise _unfit(case, f"change[{index}].what", change.what, limit, "leave one out")
        if change.what == "charge.empty_bay":
            return self._empty(case, change, index)
        name = change.what.split(".")[1]
        if change.what.startswith("charge."):
            before = float(getattr(self.charge, name))
            now = self._within(case, change, index, before)
            self.charge = (
                replace(self.charge, tonnes=now) if name == "tonnes" else replace(self.charge, mix_degC=now)
            )
            return Changed(change.what, before, now)
        rows = [self.weather.at(3600.0 * hour) for hour in range(self.weather.hours)]
        column = ("degC", "rh_pct").index(name)
        befores = [row[column] for row in rows]
        nows = [self._within(case, change, index, before) for before in befores]
        self.weather = Weather(*([nows, [row[1] for row in rows]] if column == 0 else [[row[0] for row in rows], nows]))
        return Changed(f"{change.what} (mean)", sum(befores) / len(befores), sum(nows) / len(nows))

    def _empty(self, case: Case, change: Change, index: int) -> Changed:
        """A bay without product, and as much less product."""
        bay = int(self._within(case, change, index, 0.0))
        before = self.charge
        if bay > self.params.room.bays or bay in before.empty_bays:
            limit = f"must be a bay with product; this chamber has bays 1..{self.params.room.bays}"
            raise _unfit(case, "charge.empty_bay", str(bay), limit, "name another bay")
        full = self.params.room.bays - len(before.empty_bays)
        tonnes = before.tonnes * (full - 1) / full
        self.charge = replace(before, tonnes=tonnes, empty_bays=tuple(sorted((*before.empty_bays, bay))))
        return Changed(f"charge.empty_bay {bay}, charge.tonnes", before.tonnes, tonnes)

    def _within(self, case: Case, change: Change, index: int, before: float) -> float:
        lo, hi, unit = BESIDE[change.what]
        now = after(change, before, case.amount)
        if not lo <= now <= hi:
            limit = f"{change.what} must be {lo:g} to {hi:g} {unit}".rstrip()
            raise _unfit(case, f"change[{index}]", quantity(round(now, 3), unit), limit, "give a smaller change")
        return now

    def _strike(self, case: Case, index: int) -> str:
        strike = case.case.fault[index]
        kind = KINDS[strike.kind]
        amount = None if kind.lo == kind.hi == 0.0 else number(strike, case.amount)
        fault = Fault(kind=strike.kind, target=strike.target, amount=amount)
        wrong = objections([fault], places_of(self.params))
        if wrong:
            fields = [one.field.replace("fault.0", f"fault[{index}]") for one in wrong]
            raise ConfigError(
                [Problem(case.file, name, one.value, one.limit, one.remedy)
                 for name, one in zip(fields, wrong, strict=True)]
            )  # fmt: skip
        self.faults.append(fault)
        return f"fault {strike.kind} {strike.target}".rstrip() + f": {said(strike.kind, amount or 0.0)}"

    def _stand(self, case: Case, index: int) -> str:
        entry, where = case.case.stands[index], f"stands[{index}]"
        if self.given.filling:
            limit = "cannot stand beside --filling, which says what comes"
            raise _unfit(case, where, "what stands in some bays", limit, "leave one out")
        beyond = [bay for bay in entry.bays if bay > self.params.room.bays]
        if beyond:
            limit = f"this chamber has bays 1..{self.params.room.bays}"
            raise _unfit(case, f"{where}.bays", str(beyond[0]), limit, "choose another --plant, or change the case")
        taken = {bay: other.asked for other, one in self.stands for bay in one.bays}
        both = next((bay for bay in entry.bays if bay in taken), None)
        if both is not None:
            limit = f"what stands there is said by {taken[both]} already"
            raise _unfit(case, f"{where}.bays", str(both), limit, "ask for one of the two")
        if entry.mix not in concretes(self.params):
            listed = ", ".join(repr(name) for name in sorted(concretes(self.params)))
            limit = f"the plant file has the mixes {listed}"
            raise _unfit(case, f"{where}.mix", entry.mix, limit, "choose one of them")
        self.stands.append((case, entry))
        warmer, load = _of(case, entry)
        bays = ", ".join(map(str, entry.bays))
        return f"bays {bays}: mix {entry.mix or 'as usual'}, {warmer:+g} K, {load:g} times the usual load"


def _of(case: Case, entry: Standing) -> tuple[float, float]:
    """(how much warmer, K; how many times the usual load) of what stands somewhere."""
    amount = 0.0 if case.amount is None else case.amount
    return entry.warmer * amount, (amount**entry.load_power if entry.load_power else 1.0)


def _filling(params: PlantParams, charge: Charge, stands: Sequence[tuple[Case, Standing]]) -> Filling:
    """The charge as batches that are placed at the first step, so that bays may differ."""
    room = params.room
    full = [bay for bay in range(1, room.bays + 1) if bay not in charge.empty_bays]
    usual = charge.tonnes / (len(full) * room.levels) if full else 0.0
    if usual <= 0.0:
        limit = "a chamber without product has no mixes"
        raise ConfigError([Problem("command line", OPTION, "an empty chamber", limit, "give it a --load")])
    by_bay = {bay: (entry.mix, *_of(case, entry)) for case, entry in stands for bay in entry.bays}
    moves = []
    for bay in full:
        mix, warmer, load = by_bay.get(bay, (charge.mix, 0.0, 1.0))
        batch = Batch(usual * load, charge.mix_degC + warmer, charge.age_h, mix)
        moves += [Move(0.0, "place", bay, level, batch) for level in range(1, room.levels + 1)]
    return in_order(moves)


def _unfit(case: Case, where: str, value: str, limit: str, remedy: str) -> ConfigError:
    return ConfigError([Problem(f"{OPTION} {case.asked} ({case.file})", where, value, limit, remedy)])
