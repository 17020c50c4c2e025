"""Where config files are found."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.config.find import find, kind_of, known
from controller.config.loader import read
from controller.core.sequence.recipe import Recipe
from controller.errors import ConfigError


def test_a_bare_name_is_a_shipped_file_wherever_one_stands(monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    path = find("points", "panel-a")
    assert path.is_file()
    assert path.parts[-3:] == ("configs", "points", "panel-a.csv")


def test_a_path_stays_a_path(tmp_path):
    file = tmp_path / "own.toml"
    file.write_text("name = 'own'\n")
    assert find("recipe", file) == file
    assert find("recipe", str(file)) == file


def test_a_name_is_looked_for_beside_the_file_that_names_it_first(tmp_path):
    """A site's own panel-a hides the shipped one for the site's chamber, and only for it."""
    chamber = tmp_path / "chambers" / "own.toml"
    own = tmp_path / "points" / "panel-a.csv"
    for file in (chamber, own):
        file.parent.mkdir()
        file.write_text("x")
    assert find("points", "panel-a", beside=chamber) == own
    assert find("points", "panel-a") != own
    assert find("device", "panel-a", beside=chamber).parent.parent.name == "configs"


def test_a_file_where_one_stands_is_found_whatever_its_ending_unless_a_demo_file_has_its_name(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "README.md").write_text("x")
    (tmp_path / "gentle").write_text("x")
    assert find("weather", "README.md") == Path("README.md")
    assert find("recipe", "gentle").parent.name == "recipes"
    with pytest.raises(ConfigError, match="a bare name means a demo file"):
        find("weather", "READYOU.md")


@pytest.mark.parametrize("name", ["panel-aa", "PANEL_A", "panel a"])
def test_a_missing_name_suggests_the_nearest_and_names_the_known(name):
    with pytest.raises(ConfigError) as caught:
        find("points", name)
    (problem,) = caught.value.problems
    assert problem.remedy.startswith("did you mean panel-a? known: panel-a")


@pytest.mark.parametrize("name", ["no/such.toml", "such.toml", "", "a\0b", "..", "a" * 5000 + ".toml", "a" * 5000])
def test_whatever_is_asked_for_that_is_not_there_is_a_config_error(name):
    with pytest.raises(ConfigError) as caught:
        find("recipe", name)
    assert [problem.field for problem in caught.value.problems] == ["recipe file"]


def test_a_folder_is_found_but_cannot_be_read():
    with pytest.raises(ConfigError) as caught:
        read(find("recipe", "/"), Recipe)
    assert [problem.file for problem in caught.value.problems] == ["/"]


def test_known_lists_names_sorted():
    assert "panel-a" in known("points")
    assert list(known("points")) == sorted(known("points"))


def test_kind_follows_folder_and_suffix():
    assert kind_of(Path("configs/points/panel-a.csv")) == "points"
    assert kind_of(Path("configs/points/panel-a.toml")) is None
    assert kind_of(Path("somewhere/panel-a.csv")) is None


def test_a_relative_path_in_a_file_begins_at_that_file(tmp_path):
    chamber = tmp_path / "site" / "own.toml"
    points = tmp_path / "site" / "lists" / "own.csv"
    points.parent.mkdir(parents=True)
    points.write_text("x")
    assert find("points", "lists/own.csv", beside=chamber) == points
    assert find("points", str(points), beside=chamber) == points
