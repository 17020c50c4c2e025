"""tools/figures: what it writes into the README comes from runs and reports, and nothing else."""

from __future__ import annotations

import importlib.util
import json
import re
from importlib.machinery import SourceFileLoader
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
MEASURES = {
    "moisture of the air in a ventilated roof": ([0, 0, 5.04, 8.41], [(500.0, 1050.0), (100.0, 670.0)]),
    "a heated room: layers and answer to its heater": ([0, 0.437, 0], [(1.0, 2.2), (0.9, 2.1)]),
    "heat of hydration of two cements": ([4.41, 0, 16.2], []),
}


@pytest.fixture(scope="module")
def figures() -> Any:
    loader = SourceFileLoader("figures", str(ROOT / "tools" / "figures"))
    module = importlib.util.module_from_spec(importlib.util.spec_from_loader("figures", loader))  # type: ignore[arg-type]
    loader.exec_module(module)
    return module


def report(state: str = "compared") -> dict[str, Any]:
    """A verification.json of invented figures."""
    return {
        "validation": [
            {
                "name": name,
                "state": state if name.startswith("a heated") else "compared",
                "measures": [{"rmse": rmse, "values": 10257} for rmse in found],
                "pairs": [{"measured": measured, "model": model} for measured, model in pairs],
            }
            for name, (found, pairs) in MEASURES.items()
        ]
    }


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "verification.json"


def test_table_of_comparisons_has_every_figure_from_the_report(figures: Any, file: Path) -> None:
    file.write_text(json.dumps(report()), encoding="utf-8")
    roof, answer, layers, cements = figures.compared(file).splitlines()[2:]
    for said in ("10,257 h", "5.0 %RH off", "8.4 %RH for", "2.1 times as many hours at 95 %RH", "6.7 times as many"):
        assert said in roof
    assert "0.44 K off" in answer
    assert "2.2 and 2.1 K/m, measured 1.0 and 0.9" in layers
    assert "2.3 times as steep" in layers
    assert "4.4 J/g off" in cements
    assert "16 J/g for the other" in cements


def test_a_report_without_data_is_refused_and_the_table_stays(figures: Any, file: Path) -> None:
    file.write_text(json.dumps(report("not validated")), encoding="utf-8")
    with pytest.raises(SystemExit, match=r"without data for a heated room.*--data DIR"):
        figures.compared(file)


@pytest.mark.parametrize(("arguments", "says"), [(["compared"], "--verification FILE"), (["tabel"], "no such block")])
def test_what_cannot_be_written_is_said(
    figures: Any, arguments: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit):
        figures.main(arguments)
    assert says in capsys.readouterr().err


def test_readme_has_the_marks_of_every_block_once_and_no_table_of_comparisons_beside_them(figures: Any) -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    for name in (*figures.BLOCKS, figures.COMPARED):
        assert text.count(f"<!-- figures:{name} -->") == 1
        assert text.count(f"<!-- /figures:{name} -->") == 1
    marked = re.sub(r"<!-- figures:(\w+) -->.*?<!-- /figures:\1 -->", "", text, flags=re.DOTALL)
    assert "root mean square" not in marked
