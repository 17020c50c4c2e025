"""Kinds of files, and the schemas that editors use."""

from __future__ import annotations

import json
import shutil

import pytest

from controller.config import schema
from controller.config.find import FOLDERS, SHIPPED, find, known
from controller.config.kinds import guess
from controller.errors import ConfigError

SHIPPED_FILES = [(kind, name) for kind in FOLDERS for name in known(kind)]


@pytest.mark.parametrize(("kind", "name"), SHIPPED_FILES)
def test_a_shipped_file_is_known_by_its_content_alone(kind, name, tmp_path):
    """Copied out of its folder, only what stands in it can tell."""
    file = find(kind, name)
    copy = tmp_path / ("x" + file.suffix)
    shutil.copyfile(file, copy)
    assert guess(copy) == kind
    assert guess(file) == kind


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("a.toml", "x = 1\ny = 2\n", "x, y: is no chamber, recipe, mix, device or model file"),
        ("a.yaml", "x: 1\n", ".yaml: must end in .toml or .csv"),
        ("a", "x: 1\n", "(no suffix): must end in .toml or .csv"),
    ],
)
def test_a_stranger_is_refused(name, text, said, tmp_path):
    file = tmp_path / name
    file.write_text(text)
    with pytest.raises(ConfigError, match=r"put it into the folder of its kind") as caught:
        guess(file)
    assert said in str(caught.value)


@pytest.mark.parametrize("name", sorted(schema.schemas()))
def test_the_schemas_are_current(name):
    text = (SHIPPED / "schema" / name).read_text(encoding="utf-8")
    assert text == schema.schemas()[name], "a config class changed: run `python -m controller.config.schema`"


def test_a_schema_has_bounds_and_refuses_unknown_keys():
    recipe = json.loads(schema.schemas()["recipe.json"])
    assert recipe["additionalProperties"] is False
    phase = recipe["$defs"]["Phase"]
    assert phase["additionalProperties"] is False
    assert phase["properties"]["rh_accept_pct"]["maximum"] == 100
    assert "ramp" in json.dumps(phase["properties"]["kind"])


def test_writing_makes_every_schema(tmp_path):
    schema.write(tmp_path / "new")
    assert sorted(path.name for path in (tmp_path / "new").iterdir()) == sorted(schema.schemas())
