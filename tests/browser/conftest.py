"""A real browser before a real page, over a real controller and a simulated chamber that speak Modbus TCP."""

from __future__ import annotations

import json
import os
import re
import select
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from controller.store.reader import Reader
from tests.e2e.conftest import Processes, wait_for

playwright = pytest.importorskip("playwright.sync_api", reason="Playwright is not installed")

ROOT = Path(__file__).parents[2]
CHROMIUM = Path("/usr/bin/chromium")
SCREENS = ROOT / "out" / "screens"
AXE = Path(__file__).parent / "vendor" / "axe-core" / "axe.min.js"
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
PASSWORD = "quiet gravel under rain"
GRAVE = ("serious", "critical")
# A day in one hour and a half: rest, then a hold that ends by its clock.
DAY = """
name = "short-day"
text = "a day in an hour and a half"
[[phases]]
kind = "rest"
floor_degC = 20.5
ceiling_degC = 30.0
rh_fog_below_pct = 90.0
rh_accept_pct = 80.0
fan_kg_per_s = 9.0
[phases.end]
time_h = 0.05
[[phases]]
kind = "hold"
floor_degC = 20.5
ceiling_degC = 30.0
rh_fog_below_pct = 90.0
rh_accept_pct = 80.0
fan_kg_per_s = 9.0
[phases.end]
time_h = 1.5
"""


@dataclass
class Stage:
    """What stands behind the page: its address, the folder of the chamber's data, the link of the first start."""

    address: str
    setup: str
    data: Path
    processes: Processes
    page: Any = None
    people: list[str] = field(default_factory=list)


@pytest.fixture(scope="module")
def stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    """A simulated chamber, a controller that stays at 120 times real time, and the page."""
    folder = tmp_path_factory.mktemp("stage")
    processes = Processes(folder)
    try:
        _plant, port = processes.plant("--lockstep")
        data = folder / "data"
        processes.start("run", "--pace", "120", "--port", str(port), "--stay", "--no-report", "--out", str(data))
        wait_for(data / "record.sqlite", lambda reader: (reader.last_scan() or (0, 0))[0] > 200)
        yield serve_page(processes, data)
    finally:
        processes.end()


def serve_page(processes: Processes, data: Path, *options: str) -> Stage:
    """Start the page over a folder; reads its address off its greeting."""
    page = processes.start("page", "--data", str(data), "--port", "0", *options)
    assert page.stdout is not None
    assert select.select([page.stdout], [], [], 60.0)[0], "the page does not come up"
    found = [re.findall(r"https?://\S+", page.stdout.readline())[0] for _ in range(2)]
    return Stage(found[0].rstrip("/"), found[1], data, processes, page)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Debian's Chromium; skipped with words where there is none."""
    if not CHROMIUM.exists():
        pytest.skip("no /usr/bin/chromium: as root, apt-get install chromium")
    os.environ.pop("DISPLAY", None)
    playwright.expect.set_options(timeout=30_000)  # five seconds by itself: a busy machine takes longer
    with playwright.sync_playwright() as runner:
        made = runner.chromium.launch(executable_path=str(CHROMIUM), args=ARGUMENTS)
        yield made
        made.close()


@dataclass
class Window:
    """One person at one window. Nothing may go wrong in its console, and nothing may be asked of another server."""

    page: Any
    stage: Stage
    wrong: list[str]

    def go(self, path: str) -> None:
        self.page.goto(self.stage.address + path)

    def shoot(self, name: str) -> None:
        SCREENS.mkdir(parents=True, exist_ok=True)
        self.page.screenshot(path=str(SCREENS / f"{name}.png"), full_page=True)

    def barriers(self) -> list[str]:
        """What axe-core calls serious or critical, with where it is."""
        self.page.evaluate(AXE.read_text(encoding="utf-8"))
        rules = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
        found = self.page.evaluate(f"axe.run(document, {json.dumps(rules)})")
        return [
            f"{one['id']}: {node['target'][0]} {node['any'][:1] and node['any'][0]['message']}"
            for one in found["violations"]
            if one["impact"] in GRAVE
            for node in one["nodes"]
        ]


@pytest.fixture
def window(stage: Stage, browser: Any) -> Iterator[Callable[..., Window]]:
    """Open windows: `window(name=..., width=..., ...)`; with a name somebody is logged in."""
    contexts: list[Any] = []

    def opened(name: str = "", *, width: int = 1440, height: int = 900, **options: Any) -> Window:
        context = browser.new_context(
            viewport={"width": width, "height": height}, timezone_id="Europe/Berlin", **{"locale": "en-GB", **options}
        )
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(30_000)
        made = Window(page, stage, [])
        page.on("console", lambda said: made.wrong.append(said.text) if said.type == "error" else None)
        page.on("pageerror", lambda error: made.wrong.append(str(error)))
        page.on("request", lambda asked: None if asked.url.startswith((stage.address, "data:", "blob:")) else
                made.wrong.append(f"asked of elsewhere: {asked.url}"))  # fmt: skip
        if name:
            made.go("/login")
            page.fill("#name", name)
            page.fill("#password", PASSWORD)
            page.click("button[type=submit]")
            page.wait_for_url(re.compile(r"/(chamber|people|$)"))
        return made

    yield opened
    for context in contexts:
        context.close()


def state_of(stage: Stage) -> str:
    """The procedural state that the record tells last."""
    with Reader(stage.data / "record.sqlite") as reader:
        return next((row.data["to"] for row in reversed(reader.journal(kind="state"))), "idle")
