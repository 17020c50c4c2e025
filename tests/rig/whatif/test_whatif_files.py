"""What-if cases as files and as options: strict, refused with a full message, told wherever the cycle is told."""

from __future__ import annotations

import json
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from controller.cli.main import main
from controller.config.find import find, known
from controller.errors import ConfigError
from controller.report.html import write_report
from controller.rig.plant import build, scene
from controller.rig.whatif.apply import applied
from controller.rig.whatif.casefile import catalogue, read
from controller.store.reader import Reader

GOOD = """
text = "the roof has blown off in a storm"
source = "chosen"

[amount]
text = "the roof lets {} through"
usual = 2.0
lo = 1.0
hi = 3.0

[[change]]
what = "envelope.U_W_per_m2_K"
how = "times"
"""


def file_of(folder: Path, text: str) -> Path:
    path = folder / "own.toml"
    path.write_text(text, encoding="utf-8")
    return path


def refusal(*asked: str, **given: Any) -> str:
    with pytest.raises(ConfigError) as refused:
        applied(scene(**given), list(asked))
    (problem,) = refused.value.problems
    assert all((problem.file, problem.field, problem.value, problem.limit, problem.remedy))
    return str(problem)


def test_every_case_of_ageing_and_otherness_is_shipped_and_says_what_it_is() -> None:
    named = {
        "insulation-wet", "filter-clogged", "nozzles-clogged", "valve-leaking", "belt-slipping", "vent-failed-summer",
        "colder-weather", "load-partial", "bay-empty", "racks-overfilled", "mixes-several", "wetted-fraction",
    }  # fmt: skip
    assert named <= set(known("whatif"))
    lines = catalogue()
    for name in known("whatif"):
        case = read(find("whatif", name)).value
        assert case.source
        assert any(line.startswith(f"{name}: ") for line in lines)
        assert f"    {case.text}" in lines
    wetted = read(find("whatif", "wetted-fraction")).value.amount
    assert wetted is not None
    assert (wetted.lo, wetted.hi) == (0.05, 1.0)


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ("valve-leaking=0.51", "must be 0 to 0.5: ... of the full flow passes the shut valve; usual is 0.1"),
        ("insulation-wet=0.99", "must be 1 to 8 times"),
        ("insulation-wet=nan", "must be 1 to 8 times"),
        ("insulation-wet=inf", "must be 1 to 8 times"),
        ("insulation-wet=much", "write a number"),
        ("insulation-wet=", "needs an amount of 1 to 8 times behind the ="),
        ("bay-empty=2.5", "write a whole number"),
        ("bay-empty=7", "this chamber has bays 1..6"),
        ("insulation-wte", "did you mean insulation-wet?"),
    ],
)
def test_an_amount_or_a_name_that_cannot_be_is_refused_with_limits_and_remedy(asked: str, says: str) -> None:
    said = refusal(asked)
    assert says in said
    assert asked.split("=")[0].split("/")[-1] in said


def test_what_does_not_fit_the_scene_is_refused() -> None:
    assert "is given twice" in refusal("wetted-fraction", "wetted-fraction=1")
    assert 'heat of kind "electric" has kind, stage_kW' in refusal("valve-leaking", plant="demo-east")
    assert "weather.degC must be -40 to 50 degC" in refusal("colder-weather=30", outdoor=((-20.0, 80.0),))
    assert "without product" in refusal("mixes-several", tonnes=0.0)
    assert "what stands there is said by mixes-several=8 already" in refusal("mixes-several", "racks-overfilled")


def test_two_cases_that_set_the_same_are_refused_and_two_that_multiply_go_together(tmp_path: Path) -> None:
    other = file_of(tmp_path, GOOD.replace('how = "times"', 'how = "becomes"\nby = 0.3'))
    third = tmp_path / "third.toml"
    third.write_text(other.read_text(), encoding="utf-8")
    assert "is set by own=2 already" in refusal(str(other), str(third))
    both = applied(scene(), ["insulation-wet=2", str(file_of(tmp_path, GOOD))])
    assert both.params is not None
    assert both.params.envelope.U_W_per_m2_K == pytest.approx(4.0 * 0.11)
    assert [one.asked for one in both.what_if] == ["insulation-wet=2", "own=2"]
    assert both.what_if[1].changes == ("envelope.U_W_per_m2_K 0.22 -> 0.44",)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("usual = 2.0", "usual = 4.0", "amount.usual = 4: must be 1 to 3"),
        ("the roof lets {} through", "the roof lets much through", "must have {} once"),
        ("envelope.U_W_per_m2_K", "envelop.U_W_per_m2_K", "is nothing that a case can change"),
        ("envelope.U_W_per_m2_K", "envelope.U", "envelope has no such number"),
        ("envelope.U_W_per_m2_K", "fan.pattern", "fan has no such number"),
        ("envelope.U_W_per_m2_K", "charge.age", "is nothing that a case can change"),
        ('how = "times"', 'how = "twice"', 'must be one of "times", "plus", "minus", "becomes"'),
        ('how = "times"', 'how = "times"\nstrength = 3', "unknown key strength"),
        ("hi = 3.0", "hi = nan", "amount.hi"),
        ("lo = 1.0", 'lo = 0.0\n# no power\n', "power = -1: is nothing for an amount of 0"),
        ('source = "chosen"', "", "source = (missing)"),
        ("[[change]]", '[[fault]]\nkind = "belt-of"\n\n[[change]]', "did you mean belt-off?"),
        ("[amount]", "[[stands]]\nbays = []\n[amount]", "stands[0].bays"),
    ],
)
def test_a_case_that_is_wrong_in_itself_is_refused_before_anything_runs(
    tmp_path: Path, old: str, new: str, says: str
) -> None:
    text = GOOD.replace(old, new)
    if "no power" in new:
        text = text.replace('how = "times"', 'how = "times"\npower = -1.0')
    path = file_of(tmp_path, text)
    with pytest.raises(ConfigError) as refused:
        read(path)
    assert says in str(refused.value)
    assert str(path) in str(refused.value)


def test_a_case_without_an_amount_needs_numbers_of_its_own_and_takes_none(tmp_path: Path) -> None:
    bare = GOOD[: GOOD.index("[amount]")] + GOOD[GOOD.index("[[change]]") :]
    with pytest.raises(ConfigError, match="needs a number"):
        read(file_of(tmp_path, bare))
    path = file_of(tmp_path, bare + "by = 2.0\n")
    assert applied(scene(), [str(path)]).what_if[0].asked == "own"
    assert "has no amount" in refusal(f"{path}=3")


def test_what_a_case_makes_of_a_parameter_is_held_to_the_bounds_of_a_plant_file(tmp_path: Path) -> None:
    path = file_of(tmp_path, GOOD.replace("hi = 3.0", "hi = 300.0"))
    said = refusal(f"{path}=200")
    assert "--what-if own=200: envelope.U_W_per_m2_K = 22.0: must be a number above 0 and at most 5" in said


def test_parameters_that_contradict_each_other_are_laid_at_the_case(tmp_path: Path) -> None:
    from controller.config.bundle import load_site
    from controller.link.device import Device
    from controller.link.layout import require_layout

    site = load_site("demo-north", device_class=Device, layout=require_layout)
    path = file_of(tmp_path, GOOD.replace("envelope.U_W_per_m2_K", "heat.water_degC").replace("lo = 1.0", "lo = 0.1"))
    cold = applied(scene(), ["insulation-wet=3", f"{path}=0.2"])
    with pytest.raises(ConfigError) as refused:
        build(cold, site.points, site.devices, lockstep=True)
    assert "with --what-if insulation-wet=3, own=0.2: heat.air_degC" in str(refused.value)


@pytest.fixture(scope="module")
def cycled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("cycle")
    asked = ["--outdoor", "8/80", "--hours", "0.05", "--scan", "2", "--link", "direct", "--out", str(out)]
    main(["cycle", *asked, "--what-if", "insulation-wet=3", "--what-if", "mixes-several"])
    return out


def test_summary_record_table_and_report_say_that_it_was_a_what_if(
    cycled: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    summary = json.loads((cycled / "summary.json").read_text())
    first, second = summary["what_if"]
    assert (first["name"], first["amount"]) == ("insulation-wet", 3.0)
    assert first["said"] == "walls, roof and doors lose 3 times the heat of dry ones"
    assert first["changes"] == ["envelope.U_W_per_m2_K 0.11 -> 0.33"]
    assert "bays 1, 2: mix quick, +4 K, 1 times the usual load" in second["changes"]
    with closing(Reader(cycled / "record.sqlite")) as reader:
        (cycle,) = reader.cycles()
    assert cycle.header.facts["what_if"] == "insulation-wet=3, mixes-several=8"
    write_report(cycled / "record.sqlite", tmp_path / "page.html")
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert "<title>What if: demo-north" in page
    assert "this was not the chamber that its files describe" in page
    assert "envelope.U_W_per_m2_K 0.11 -&gt; 0.33" in page


def test_the_plain_chamber_says_nothing_of_what_ifs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    asked = ["--outdoor", "8/80", "--hours", "0.02", "--scan", "2", "--link", "direct", "--out", str(tmp_path)]
    main(["cycle", *asked])
    assert "what if" not in capsys.readouterr().out.casefold()
    assert "what_if" not in json.loads((tmp_path / "summary.json").read_text())
    assert "what if" not in (tmp_path / "report.html").read_text(encoding="utf-8").casefold()


def test_what_ifs_are_checked_and_listed_from_the_command_line(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["cycle", "--what-if", "list"]) == 0
    assert "valve-leaking: usual 0.1, 0 to 0.5" in capsys.readouterr().out
    assert main(["check", str(find("whatif", "valve-leaking"))]) == 0
    assert "whatif" in capsys.readouterr().out
    assert main(["cycle", "--what-if", "valve-leaking=9"]) == 2
    assert "must be 0 to 0.5" in capsys.readouterr().err
