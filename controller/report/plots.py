"""The plots of a report, from the minutes of a record: what was believed, whether simulated or not."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache, partial
from typing import NamedTuple

from controller.core.sequence.recipe import Phase
from controller.report import canvas
from controller.report.canvas import COLD, GREEN, INK, QUIET, VIOLET, WARM, WET, Canvas, Scene
from controller.report.happened import Happened
from controller.report.kpis import known, largest, last, mean, smallest
from controller.report.phases import PhaseRow, plan_line
from controller.report.recorded import Recorded
from controller.report.surface import Stretch
from controller.report.trend import Trend, running_total, trend
from controller.report.words import Words

STRIP = (WET, WARM, GREEN, VIOLET, "#8a6d3b", "#43607c", "#7a3b5e", "#3f3f3f")


class Plot(NamedTuple):
    """One figure of the page. alt: what a person who cannot see it should know."""

    name: str
    title: str
    caption: str
    alt: str
    svg: str


class _Source:
    """Trends by tag, each read and folded once, and what stands on every plot."""

    def __init__(
        self, recorded: Recorded, phases: list[PhaseRow], found: Happened, stretches: Sequence[Stretch], words: Words
    ) -> None:
        self.recorded = recorded
        self.stretches = stretches
        self.scene = Scene(recorded.span.began, recorded.hours(recorded.span.ended), phases, found, words)
        self.trend: Callable[[str], Trend] = cache(self._trend)

    def _trend(self, tag: str) -> Trend:
        return trend(self.recorded.minutes(tag), self.recorded.span.began)

    def total(self, tag: str) -> Trend:
        """What a meter has counted since the start."""
        return running_total(self.recorded.minutes(tag), self.recorded.span.began)

    def words(self, name: str, key: str, **values: float) -> str:
        """A text of one plot."""
        return self.scene.words(f"plot.{name}.{key}", **values)

    def plot(self, name: str, found: Trend, unit: str, svg: str, places: int = 2) -> Plot:
        """A figure with its texts. found: the line that is told to those who cannot see it."""
        caption = f"plot.{name}.caption"
        return Plot(
            name, self.words(name, "title"), self.scene.words.known(caption, ""),
            _said(self.scene.words, self.words(name, "what"), found, unit, places), svg,
        )

    def tag(self, name: str) -> str:
        """The tag of one reading of the chamber file; empty when unknown."""
        chamber = self.recorded.chamber
        return str(getattr(chamber.climate, name)) if chamber else ""


def plots(
    recorded: Recorded, phases: list[PhaseRow], found: Happened, stretches: Sequence[Stretch], words: Words
) -> list[Plot]:
    """All of them, in the order in which they are read. stretches: which surface was the coldest, and when."""
    source = _Source(recorded, phases, found, stretches, words)
    makers = (_temperature, _dew, _humidity, _margin, _spread, _drying, _outputs, _product, _age, _used, _fought)
    return [make(source) for make in makers]


def _temperature(source: _Source) -> Plot:
    air, low, high = source.trend("TY-101"), source.trend("TY-101L"), source.trend("TY-101H")
    floor, ceiling = source.trend("TIC-101F"), source.trend("TIC-101C")
    made, say = Canvas("temperature", source.scene, [2.5]), partial(source.words, "temperature")
    made.band(0, "asked", floor.hours, floor.mean, ceiling.mean, say("asked"), GREEN, opacity=0.13)
    made.band(0, "probes", low.hours, low.least, high.greatest, say("probes"), WARM, opacity=0.3)
    made.line(0, "floor", floor.hours, floor.mean, say("floor"), GREEN, width=0.9)
    planned = [phase.planned for phase in source.scene.phases if phase.planned]
    if planned:
        hours, values = plan_line(planned, source.scene.end_h)
        made.line(0, "plan", hours, values, say("plan"), INK, width=1.1, dashes=":")
    made.line(0, "TY-101", air.hours, air.mean, say("air"), WARM)
    _name_phases(made, source.scene)
    return source.plot("temperature", air, "°C", made.finish("°C"))


def _dew(source: _Source) -> Plot:
    surface, say = source.trend("TY-105"), partial(source.words, "dew")
    lines = (
        ("MIC-101V", say("vent"), VIOLET, 1.0, "--"),
        ("MIC-101F", say("fog"), QUIET, 1.1, ":"),
        ("MY-101", say("point"), WET, 1.6, "-"),
    )
    made = Canvas("dew", source.scene, [2.0, 1.5])
    for panel, base in enumerate(([0.0] * len(surface.mean), surface.mean)):
        made.line(panel, f"TY-105-{panel}", surface.hours, [v - b for v, b in zip(surface.mean, base, strict=True)],
                  say("surface"), COLD, width=1.3)
        for tag, label, color, width, dashes in lines:
            found = source.trend(tag)
            values = [value - zero for value, zero in zip(found.mean, base, strict=True)]
            made.line(panel, f"{tag}-{panel}", found.hours, values, label, color, width=width, dashes=dashes)
    return source.plot("dew", source.trend("MY-101"), "°C", made.finish("°C", say("from_surface")))


def _humidity(source: _Source) -> Plot:
    humidity, say = source.trend("MY-102"), partial(source.words, "humidity")
    made = Canvas("humidity", source.scene, [1.9])
    made.line(0, "MY-102", humidity.hours, humidity.mean, say("mean"), WET, width=1.6)
    hours, fog, accept = _by_phase(source)
    if hours:
        made.line(0, "fog-below", hours, fog, say("fog"), QUIET, width=0.9, dashes="--", step=True)
        made.line(0, "accept", hours, accept, say("accept"), GREEN, width=0.9, step=True)
    return source.plot("humidity", humidity, "%", made.finish(say("unit")))


def _margin(source: _Source) -> Plot:
    margin, stretches = source.trend("TY-106"), source.stretches
    made, say = Canvas("margin", source.scene, [1.9, 0.22]), partial(source.words, "margin")
    made.line(0, "TY-106", margin.hours, margin.least, say("least"), COLD)
    made.panels[0].axhline(0.0, color=canvas.TRIP, linewidth=1.0, zorder=2)
    axes = made.panels[1]
    names = list(dict.fromkeys(stretch.surface for stretch in stretches))
    for index, name in enumerate(names):
        spans = [(s.from_h, s.to_h - s.from_h) for s in stretches if s.surface == name]
        axes.broken_barh(spans, (0.0, 1.0), facecolors=STRIP[index % len(STRIP)],
                         label=source.scene.words.said(name)[0], linewidth=0.0, gid=f"margin-strip-{index}")
    made.plain.append(axes)
    axes.set_yticks([])
    axes.set_ylim(0.0, 1.0)
    return source.plot("margin", margin, "K", made.finish("K", say("limited") if names else ""))


def _spread(source: _Source) -> Plot:
    spread = source.trend("TDI-101")
    made = Canvas("spread", source.scene, [1.5])
    made.line(0, "TDI-101", spread.hours, spread.mean, source.words("spread", "line"), WARM)
    canvas.spread_to(made.panels[0], 0.0, max(1.0, 1.15 * largest(spread.mean)))
    return source.plot("spread", spread, "K", made.finish("K"))


def _drying(source: _Source) -> Plot:
    drying = source.trend("FY-104")
    made = Canvas("drying", source.scene, [1.6])
    made.line(0, "FY-104", drying.hours, drying.mean, source.words("drying", "line"), WET)
    made.panels[0].axhline(0.0, color=QUIET, linewidth=0.7)
    return source.plot("drying", drying, "kg/m²h", made.finish("kg/m²h"), 4)


def _outputs(source: _Source) -> Plot:
    made, say = Canvas("outputs", source.scene, [0.95] * 4), partial(source.words, "outputs")
    lanes = (
        ("JIC-103", source.tag("heat_power"), WARM),
        ("FIC-120", "", VIOLET),
        ("FIC-102", source.tag("fog_flow"), WET),
        ("", source.tag("airflow"), GREEN),
    )
    for panel, (asked, metered, color) in enumerate(lanes):
        tops = [1.0]
        if metered in source.recorded.header.columns:
            found = source.trend(metered)
            made.line(panel, metered, found.hours, found.mean, say("metered"), color, width=1.3)
            tops.append(largest(found.mean))
        if asked:
            found = source.trend(asked)
            dashes, width = ("--", 0.9) if len(tops) > 1 else ("-", 1.3)
            made.line(panel, asked, found.hours, found.mean, say("asked"), INK if len(tops) > 1 else color,
                      width=width, dashes=dashes)
            tops.append(largest(found.mean))
        canvas.spread_to(made.panels[panel], 0.0, 1.2 * max(known(tops)))
    return source.plot("outputs", source.trend("JIC-103"), "kW",
                       made.finish(say("heat"), say("vent"), say("fog"), say("fan")))


def _product(source: _Source) -> Plot:
    core, hottest, air = source.trend("TY-104"), source.trend("TY-104H"), source.trend("TY-101")
    made, say = Canvas("product", source.scene, [2.0]), partial(source.words, "product")
    made.line(0, "TY-101", air.hours, air.mean, say("air"), QUIET, width=0.9, dashes="--")
    made.line(0, "TY-104", core.hours, core.mean, say("core"), WARM)
    made.line(0, "TY-104H", hottest.hours, hottest.mean, say("hottest"), VIOLET, width=1.0)
    return source.plot("product", hottest, "°C", made.finish("°C"))


def _age(source: _Source) -> Plot:
    young, middle, old = source.trend("KY-104L"), source.trend("KY-104M"), source.trend("KY-104H")
    made, say = Canvas("age", source.scene, [1.8]), partial(source.words, "age")
    made.band(0, "positions", young.hours, young.mean, old.mean, say("positions"), VIOLET, opacity=0.3)
    made.line(0, "KY-104M", middle.hours, middle.mean, say("mean"), VIOLET)
    ready = float(source.recorded.summary["ready_age_h"])
    made.panels[0].axhline(ready, color=GREEN, linewidth=1.0, linestyle="--", label=say("ready", hours=ready))
    return source.plot("age", young, "h", made.finish("h"))


def _used(source: _Source) -> Plot:
    made, say = Canvas("used", source.scene, [1.5, 1.1]), partial(source.words, "used")
    for name, label, color in (("heat_power", say("heat"), WARM), ("fan_power", say("fan"), GREEN)):
        if source.tag(name):
            found = source.total(source.tag(name))
            made.line(0, source.tag(name), found.hours, found.mean, label, color)
    water = source.total(source.tag("fog_flow"))
    made.line(1, source.tag("fog_flow") or "fog", water.hours, water.mean, say("fog"), WET)
    for axes in made.panels:
        axes.set_ylim(0.0, max(1.0, axes.get_ylim()[1]))
    return source.plot("used", water, "kg", made.finish(say("energy"), say("water")))


def _fought(source: _Source) -> Plot:
    fought = source.trend("JDI-103")
    made = Canvas("fought", source.scene, [1.2])
    made.band(0, "JDI-103", fought.hours, [0.0] * len(fought.hours), fought.mean, "", WARM, opacity=0.55)
    canvas.spread_to(made.panels[0], 0.0, max(1.0, 1.15 * largest(fought.mean)))
    return source.plot("fought", fought, "kW", made.finish("kW"))


def _by_phase(source: _Source) -> tuple[list[float], list[float], list[float]]:
    """Hours, fog-below and accepted humidity as steps over the phases that ran."""
    recipe = source.recorded.recipe
    if recipe is None or not source.scene.phases:
        return [], [], []
    recipe_phases: Sequence[Phase] = recipe.value.phases
    ran = [(row, recipe_phases[row.number - 1]) for row in source.scene.phases if row.number <= len(recipe_phases)]
    hours = [row.begin_h for row, _phase in ran] + [ran[-1][0].end_h]
    fog = [phase.rh_fog_below_pct or float("nan") for _row, phase in ran]
    accept = [phase.rh_accept_pct or float("nan") for _row, phase in ran]
    return hours, [*fog, fog[-1]], [*accept, accept[-1]]


def _name_phases(made: Canvas, scene: Scene) -> None:
    """Each phase that is long enough by its name; one that would run into the name before it stands a line higher."""
    axes, taken_h = made.panels[0], 0.0
    for phase in scene.phases:
        if phase.end_h - phase.begin_h > 0.04 * scene.end_h:
            name, middle_h = _named(scene.words, phase), 0.5 * (phase.begin_h + phase.end_h)
            half_h = 0.5 * canvas.share(name) * scene.end_h
            clear = middle_h - half_h >= taken_h
            taken_h = middle_h + half_h if clear else taken_h
            axes.text(middle_h, 0.05 if clear else 0.12, name, ha="center", color=QUIET, fontsize=9.0,
                      transform=axes.get_xaxis_transform())


def _named(words: Words, phase: PhaseRow) -> str:
    return words("plot.phase", number=phase.number, kind=words.shared(f"phase.{phase.kind}", phase.kind))


def _said(words: Words, what: str, found: Trend, unit: str, places: int) -> str:
    """The figures of a line in a sentence."""
    if not known(found.mean):
        return words("plot.unknown", what=what)
    figures = {
        "low": smallest(found.least), "high": largest(found.greatest), "mean": mean(known(found.mean)),
        "last": last(found.mean),
    }  # fmt: skip
    said = {name: f"{words.filled(value):.{places}f}" for name, value in figures.items()}
    return words("plot.said", what=what, unit=unit, **said)
