"""The look all plots share: one time axis, phases as quiet tints, marks for what was not normal, and lean SVG.

Needs matplotlib, and is imported only when a report is made.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import ScalarFormatter

from controller.report.happened import Happened
from controller.report.phases import PhaseRow
from controller.report.words import Words

INK, QUIET, GRID = "#1e2b33", "#5d6b74", "#e4e8ea"
WARM, WET, COLD, GREEN, VIOLET = "#a8452a", "#1b6f86", "#4a5d23", "#2f6b4f", "#5f4b8b"
TINTS = {"rest": "#f6f3ec", "ramp": "#fbf0e3", "hold": "#e9f2ef", "cooldown": "#e7eef6", "vent": "#eeeff1",
         "park": "#f1efe6", "dry-out": "#f6ece6", "standby": "#f0f0f0"}
TRIP, ALARM = "#8f1d2c", "#e0a100"
WIDTH_IN, TOP_IN, BOTTOM_IN = 9.6, 0.42, 0.42
LEFT, RIGHT = 0.066, 0.972
LETTER_IN, HANDLE_IN = 0.059, 0.46  # of a legend: a letter on average, what stands before a label and between two
_STYLE: Any = {
    "font.size": 9.0,
    "font.family": "sans-serif",
    "svg.fonttype": "none",
    "svg.hashsalt": "dewhold",  # the same record gives the same file
    "path.simplify": True,
    "path.simplify_threshold": 0.2,
    "axes.edgecolor": "#9aa5ab",
    "axes.labelcolor": INK,
    "axes.linewidth": 0.7,
    "text.color": INK,
    "xtick.color": "#9aa5ab",
    "ytick.color": "#9aa5ab",
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "hatch.linewidth": 0.6,
}


@dataclass(frozen=True, slots=True)
class Scene:
    """What every plot shows beside its own lines."""

    began_ms: int
    end_h: float
    phases: list[PhaseRow]
    happened: Happened
    words: Words


class Canvas:
    """One figure of stacked panels over the same time. name: unique on the page, letters and hyphens."""

    def __init__(self, name: str, scene: Scene, heights_in: Sequence[float]) -> None:
        self._name = name
        self._scene = scene
        with mpl.rc_context(_STYLE):
            total = sum(heights_in) + TOP_IN * len(heights_in) + BOTTOM_IN
            self._figure = Figure(figsize=(WIDTH_IN, total))
            self.panels: list[Axes] = []
            self.plain: list[Axes] = []  # panels too low for marks
            top = total
            for height in heights_in:
                top -= TOP_IN + height
                axes = self._figure.add_axes((LEFT, top / total, RIGHT - LEFT, height / total))
                _dress(axes, scene, lowest=len(self.panels) == len(heights_in) - 1)
                self.panels.append(axes)

    def line(
        self, panel: int, tag: str, xs: Sequence[float], ys: Sequence[float], label: str, color: str,
        *, width: float = 1.4, dashes: str = "-", step: bool = False,
    ) -> None:
        """One line, found again in the SVG by its tag. NaN breaks it."""
        with mpl.rc_context(_STYLE):
            style = "steps-post" if step else "default"
            self.panels[panel].plot(
                xs, ys, color=color, linewidth=width, linestyle=dashes, label=label, drawstyle=style,
                gid=f"{self._name}-line-{tag}", zorder=3, solid_joinstyle="round",
            )

    def band(
        self, panel: int, tag: str, xs: Sequence[float], low: Sequence[float], high: Sequence[float], label: str,
        color: str, *, opacity: float = 0.18,
    ) -> None:
        """A filled band between two lines."""
        with mpl.rc_context(_STYLE):
            self.panels[panel].fill_between(
                xs, low, high, color=color, alpha=opacity, linewidth=0.0, label=label, gid=f"{self._name}-band-{tag}",
                zorder=2,
            )

    def finish(self, *units: str) -> str:
        """The SVG, after labelling each panel with its unit and its lines."""
        with mpl.rc_context(_STYLE):
            for axes, unit in zip(self.panels, units, strict=True):
                axes.set_title(unit, loc="left", fontsize=9.0, color=QUIET, pad=4.0)
                handles, labels = axes.get_legend_handles_labels()
                if handles:
                    axes.legend(
                        handles, labels, loc="lower right", bbox_to_anchor=(1.0, 0.985), ncol=columns(labels, unit),
                        frameon=False, fontsize=8.5, handlelength=1.8, columnspacing=1.3, borderaxespad=0.2,
                    )
                if axes not in self.plain:
                    _mark(axes, self._scene)
            buffer = io.StringIO()
            self._figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None})
        return lean(buffer.getvalue(), self._name)


def hour_step(end_h: float) -> float:
    """Hours between two ticks, so that eight to thirteen fit."""
    for step in (1 / 60, 1 / 30, 1 / 12, 0.25, 0.5, 1.0, 2.0, 3.0, 6.0, 12.0, 24.0, 48.0, 96.0, 168.0):
        if end_h / step <= 13.0:
            return step
    return 336.0


def columns(labels: Sequence[str], unit: str) -> int:
    """How many labels stand side by side so that they leave the unit its room: all of them, nearly always."""
    room_in = (RIGHT - LEFT) * WIDTH_IN - LETTER_IN * len(unit)
    for rows in range(1, len(labels)):
        # as matplotlib fills them: column by column
        widest = [max(map(len, labels[first : first + rows])) for first in range(0, len(labels), rows)]
        if sum(LETTER_IN * letters + HANDLE_IN for letters in widest) <= room_in:
            return len(widest)
    return 1


def share(text: str) -> float:
    """How much of the time axis a text takes."""
    return LETTER_IN * len(text) / ((RIGHT - LEFT) * WIDTH_IN)


def spread_to(axes: Axes, low: float, high: float) -> None:
    """Fix the vertical axis to these limits; a scale that follows noise would make a calm day look wild."""
    if math.isfinite(low) and math.isfinite(high) and high > low:
        axes.set_ylim(low, high)


def lean(svg: str, name: str) -> str:
    """The SVG fit to stand inside a page: no document head, no addresses, own ids, short numbers, the page's font."""
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    svg = re.sub(r'\sxmlns(:\w+)?="[^"]*"', "", svg).replace("xlink:href", "href")
    used = set(re.findall(r'(?:url\(|href=")#([^")]+)', svg))
    svg = re.sub(r'\sid="([^"]*)"', lambda found: _kept_id(found[1], used, name), svg)
    svg = re.sub(r'((?:url\(|href=")#)', rf"\1{name}-", svg)
    svg = re.sub(r"<[^>]*>", lambda found: _LONG.sub(_shortened, found[0]), svg)  # inside tags: labels stay as they are
    svg = re.sub(r"font: ([\d.]+px)[^;\"]*", r"font-size: \1", svg)
    svg = re.sub(r'(<svg[^>]*?) (?:width|height)="[^"]*"', r"\1", svg)
    svg = re.sub(r'(<svg[^>]*?) (?:width|height)="[^"]*"', r"\1", svg)
    svg = re.sub(r"<!--.*?-->\s*", "", svg, flags=re.DOTALL)
    return re.sub(r"\n\s*", "\n", svg)


_LONG = re.compile(r"\d+\.\d{3,}")


def _shortened(found: re.Match[str]) -> str:
    return f"{float(found[0]):.2f}".rstrip("0").rstrip(".")


def _kept_id(found: str, used: set[str], name: str) -> str:
    if found in used:
        return f' id="{name}-{found}"'
    return f' id="{found}"' if found.startswith(name + "-") else ""


def _dress(axes: Axes, scene: Scene, *, lowest: bool) -> None:
    end_h = max(scene.end_h, 0.05)
    axes.set_xlim(0.0, end_h)
    axes.margins(y=0.12)
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(visible=True, color=GRID, linewidth=0.7)
    axes.set_axisbelow(True)
    step = hour_step(end_h)
    hours = [step * n for n in range(math.floor(end_h / step + 1e-9) + 1)]
    axes.set_xticks(hours, [_clock(scene, hour) if lowest else "" for hour in hours])
    axes.tick_params(length=2.5)
    if scene.words.language != "en":
        axes.yaxis.set_major_formatter(_OwnSigns(scene.words))
    for phase in scene.phases:
        axes.axvspan(phase.begin_h, phase.end_h, color=TINTS.get(phase.kind, "#f2f2f2"), linewidth=0.0, zorder=0)


def _clock(scene: Scene, hour: float) -> str:
    """Hours after the start, and local time below."""
    at = datetime.fromtimestamp(scene.began_ms / 1000.0 + 3600.0 * hour, UTC).astimezone()
    whole = hour == round(hour, 2)
    after = scene.words("plot.hours", hours=hour) if whole else scene.words("plot.minutes", minutes=60.0 * hour)
    return f"{after}\n{at:%H:%M}"


class _OwnSigns(ScalarFormatter):
    """Figures at an axis with the signs of the language."""

    def __init__(self, words: Words) -> None:
        super().__init__(useOffset=False)
        self._words = words

    def __call__(self, x: float, pos: int | None = None) -> str:
        text = super().__call__(x, pos)
        places = len(text.partition(".")[2])
        return self._words.number(float(text.replace("\N{MINUS SIGN}", "-")), places) if text else text


def _mark(axes: Axes, scene: Scene) -> None:
    """Trips, alarms, doors and outages, each with a shape of its own."""
    across = axes.get_xaxis_transform()
    for outage in scene.happened.outages:
        axes.axvspan(outage.from_h, outage.to_h, facecolor="none", edgecolor=QUIET, hatch="////", linewidth=0, zorder=1)
    for door in scene.happened.doors or ():
        axes.plot([door.from_h, door.to_h], [0.03, 0.03], color=INK, linewidth=4, transform=across, zorder=5,
                  solid_capstyle="butt")
    for alarm in scene.happened.alarms[:200]:
        axes.plot([alarm.from_h, alarm.to_h], [0.965, 0.965], color=ALARM, linewidth=3, transform=across, zorder=5,
                  solid_capstyle="butt")
        axes.plot([alarm.from_h], [0.965], marker="^", markersize=6, color=ALARM, markeredgecolor=INK,
                  markeredgewidth=0.7, transform=across, zorder=6, clip_on=False)
    for trip in scene.happened.trips[:200]:
        axes.axvline(trip.at_h, color=TRIP, linewidth=0.9, linestyle=(0, (4, 2)), zorder=4)
        axes.plot([trip.at_h], [0.9], marker="X", markersize=7, color=TRIP, markeredgecolor="white",
                  markeredgewidth=0.6, transform=across, zorder=6)
