"""What a controller on an industrial PC needs: installed without extras, in an environment of its own, it controls."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from controller.config.find import FOLDERS

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[2]
SOURCES = ("pyproject.toml", "README.md", "LICENSE", "controller", "plantsim", "configs")
ABSENT = ("numpy", "numba", "scipy", "matplotlib", "jinja2", "pytest", "hypothesis", "pymodbus", "pvlib", "CoolProp")
INSTALL_S, COMMAND_S = 300.0, 60.0
# What pip says when it cannot get something; then the index is at fault and not the packaging.
UNREACHABLE = ("No matching distribution", "Could not find a version", "connection", "timed out", "Max retries")


class Installed:
    """An environment that has Dewhold and nothing else of the checkout, with commands run far away from it."""

    def __init__(self, folder: Path) -> None:
        self.place = folder / "elsewhere"
        self.python = folder / "venv" / "bin" / "python"
        self.place.mkdir()
        for source in SOURCES:  # a build writes beside its sources, and what an older one left must not help
            whole = ROOT / source
            copy = folder / "source" / source
            if whole.is_dir():
                shutil.copytree(whole, copy, ignore=shutil.ignore_patterns("__pycache__"))
            else:
                copy.parent.mkdir(exist_ok=True)
                shutil.copy(whole, copy)
        subprocess.run([sys.executable, "-m", "venv", folder / "venv"], check=True, timeout=INSTALL_S)
        pip = [self.python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", folder / "source"]
        done = self.run(*pip, timeout=INSTALL_S)
        if done.returncode:
            said = done.stderr.strip()[-1500:]
            offline = any(sign.casefold() in said.casefold() for sign in UNREACHABLE)
            cause = "the package index cannot be reached or lacks a package" if offline else "the install failed"
            pytest.fail(f"{cause}; pip says: {said}", pytrace=False)

    def run(self, *command: str | Path, timeout: float = COMMAND_S) -> subprocess.CompletedProcess[str]:
        """A command outside the checkout, with nothing of this process's Python in its environment."""
        kept = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "VIRTUAL_ENV"))}
        return subprocess.run(
            command, cwd=self.place, env=kept, capture_output=True, text=True, timeout=timeout, check=False
        )

    def dewhold(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """The installed command."""
        return self.run(self.python.with_name("dewhold"), *arguments)


@pytest.fixture(scope="module")
def lean(tmp_path_factory: pytest.TempPathFactory) -> Installed:
    return Installed(tmp_path_factory.mktemp("lean"))


def test_nothing_of_the_model_the_report_or_the_tests_comes_along(lean: Installed) -> None:
    """Each is looked for by the environment's own interpreter; `controller` proves that it finds what is there."""
    names = (*ABSENT, "controller")
    look = f"from importlib.util import find_spec; print(*[n for n in {names!r} if find_spec(n)])"
    assert lean.run(lean.python, "-c", look).stdout.split() == ["controller"]


def test_demo_files_come_with_the_wheel_and_pictures_do_not(lean: Installed) -> None:
    """Every file that `find` knows in the checkout is known in the wheel, and none of them lies in the checkout."""
    ask = (
        "from controller.config.find import FOLDERS, SHIPPED, find, known\n"
        "print(SHIPPED)\n"
        "for kind in FOLDERS:\n    for name in known(kind):\n        print(find(kind, name).relative_to(SHIPPED))"
    )
    place, *found = lean.run(lean.python, "-c", ask).stdout.splitlines()
    shipped = Path(place)
    assert shipped.is_relative_to(lean.python.parents[1])
    folders = [folder for folder, _suffix in FOLDERS.values()]
    ours = {
        path.relative_to(ROOT / "configs").as_posix()
        for folder in folders
        for path in (ROOT / "configs" / folder).iterdir()
        if path.suffix in (".toml", ".csv")
    }
    assert len(ours) > 10
    assert set(found) == ours
    assert (shipped / "verdict.toml").is_file()
    assert list(shipped.rglob("*.svg")) == []


def test_check_works_bare(lean: Installed) -> None:
    done = lean.dewhold("check")
    assert (done.returncode, done.stderr) == (0, ""), done.stdout
    assert "0 problems" in done.stdout
    for name in ("chambers/demo-north.toml", "weather/winter.csv", "plants/demo-north.toml"):
        assert name in done.stdout
    assert "ready: after" in done.stdout, "the forecast needs nothing of the chamber model"


def test_run_controls_as_far_as_the_missing_device(lean: Installed) -> None:
    with socket.socket() as held:  # bound and not listening: nobody else gets the port, and it refuses
        held.bind(("127.0.0.1", 0))
        port = held.getsockname()[1]
        done = lean.dewhold("run", "--host", "127.0.0.1", "--port", str(port))
    assert done.returncode == 3, done.stderr
    assert f"no device at 127.0.0.1:{port} (connection refused)" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("command", ["cycle", "plant", "bench"])
def test_what_needs_the_chamber_model_says_how_to_get_it(lean: Installed, command: str) -> None:
    done = lean.dewhold(command)
    assert done.returncode == 3, done.stderr
    assert "the chamber model needs the package num" in done.stderr
    assert "dewhold[sim]" in done.stderr
    assert "Traceback" not in done.stderr


def test_the_page_says_how_to_get_what_it_needs(lean: Installed) -> None:
    done = lean.dewhold("page", "--data", ".")
    assert done.returncode == 3, done.stderr
    assert "dewhold[page]" in done.stderr
    assert "Traceback" not in done.stderr


def test_page_and_report_come_with_their_texts_pictures_and_the_licences_of_what_they_carry(lean: Installed) -> None:
    wanted = (
        "wording/en.toml", "wording/de.toml", "wording/phrases.de.toml", "report/texts/en.toml", "report/texts/de.toml",
        "page/web/units.toml", "page/templates/base.html", "page/static/css/base.css", "page/static/js/now.js",
        "page/static/icon.svg", "page/static/vendor/uplot/LICENSE", "page/static/vendor/swagger-ui/LICENSE",
        "page/static/vendor/swagger-ui/NOTICE",
    )  # fmt: skip
    ask = (
        "from pathlib import Path\nimport controller\n"
        f"print(*[n for n in {wanted!r} if not (Path(controller.__file__).parent / n).is_file()])"
    )
    assert lean.run(lean.python, "-c", ask).stdout.split() == []
