"""Files of a run together: what each contradiction is called, and that all of them are found at once."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from controller.config import bundle, plan, tags
from controller.config.chamber import ChamberFile
from controller.config.find import SHIPPED, known
from controller.errors import ConfigError
from controller.link.device import Device
from controller.link.layout import require_layout

CHAMBER, POINTS, RECIPE = "chambers/demo-north.toml", "points/panel-a.csv", "recipes/gentle.toml"


@pytest.fixture
def configs(tmp_path) -> Path:
    """A copy of the shipped files that a test may break."""
    for folder in ("chambers", "points", "devices", "recipes", "mixes"):
        shutil.copytree(SHIPPED / folder, tmp_path / folder)
    return tmp_path


def change(file: Path, old: str, new: str) -> None:
    text = file.read_text(encoding="utf-8")
    assert text.count(old) >= 1, f"{old!r} is not in {file.name}: the test would break nothing"
    file.write_text(text.replace(old, new, 1), encoding="utf-8")


def load(configs: Path, recipe: str = "gentle.toml"):
    return bundle.load_bundle(
        configs / CHAMBER,
        configs / "recipes" / recipe,
        configs / "mixes/demo-60.toml",
        device_class=Device,
        layout=require_layout,
    )


def problems(configs: Path, recipe: str = "gentle.toml") -> list[str]:
    with pytest.raises(ConfigError) as caught:
        load(configs, recipe)
    return [str(problem).replace(str(configs) + "/", "") for problem in caught.value.problems]


@pytest.mark.parametrize("recipe", known("recipe"))
def test_every_shipped_recipe_fits_the_demo_chamber(recipe):
    whole = bundle.load_bundle("demo-north", recipe, "demo-60", device_class=Device, layout=require_layout)
    assert whole.recipe.name == recipe
    assert set(whole.files) == {"chamber", "points", "device", "recipe", "mix"}
    assert all(len(file.sha256) == 64 for file in whole.files.values())


def test_gentle_is_what_it_says():
    """The figures a user is promised: rest, ramp, band and ends of the default recipe."""
    recipe = bundle.load_bundle("demo-north", "gentle", "demo-60", device_class=Device, layout=require_layout).recipe
    rest, ramp, hold = recipe.phases
    assert (rest.kind, rest.floor_degC, rest.end.time_h) == ("rest", 20.0, 2.0)
    assert (ramp.kind, ramp.rate_K_per_h, ramp.ramp_rh_floor_pct, ramp.end.in_band) == ("ramp", 0.8, 94.0, True)
    assert (hold.floor_degC, hold.ceiling_degC, hold.rh_fog_below_pct, hold.rh_accept_pct) == (28.0, 40.0, 95.5, 94.0)
    assert (hold.end.match, hold.end.cycle_h, hold.end.equivalent_age_h) == ("all", 24.0, 30.0)
    assert {phase.supply_over_return_K_max for phase in recipe.phases} == {3.0}
    assert {phase.fan_kg_per_s for phase in recipe.phases} == {None}, "the chamber's own"


def test_a_ramp_that_heater_or_supply_limit_cannot_follow_is_noted_not_refused():
    """120 t and 46.6 MJ/K of boards at 0.8 K/h are 37 kW; 9 kg/s and 3 K give 28 kW."""
    (note,) = load(SHIPPED).notes
    assert note.startswith("phase 2 (ramp): 0.8 K/h with 120 t takes 37 kW, its supply limit gives 28 kW")


def test_a_heater_too_small_is_named_as_what_limits(configs):
    change(configs / CHAMBER, "capacity_kW = 60.0", "capacity_kW = 20.0")
    (note,) = load(configs).notes
    assert "the heater gives 20 kW" in note


def test_the_oldest_age_a_chamber_can_give_is_arrhenius_over_its_longest_cycle(configs):
    """168 h at 55 degC, 40 kJ/mol over 20 degC: exp(-40000/8.3145 (1/328.15 - 1/293.15)) = 5.757, so 967 h."""
    change(configs / RECIPE, "equivalent_age_h = 30.0", "equivalent_age_h = 968")
    assert "demo-60 reaches at most 967 h in 168 h at 55 degC" in problems(configs)[0]
    change(configs / RECIPE, "equivalent_age_h = 968", "equivalent_age_h = 967")
    load(configs)


# What is replaced, by what -> the beginning of each problem that is said, and no other.
IN_CHAMBER = [
    ('t = "TT-101A"', 't = "TT-101Z"', "climate.pairs[0].t = TT-101Z: is no point of points/panel-a.csv; did you mean"),
    ('t = "TT-101A"', 't = "MT-101B"', "climate.pairs[0].t = MT-101B: must be in degC, MT-101B is in %RH; name the"),
    ('t = "TT-101B"', 't = "TT-101A"', "climate.pairs[1].t = TT-101A: already used by climate.pairs[0].t; give each"),
    ('rh = "MT-101A"\n', "", "climate.pairs[0].rh = (missing): needed: one of rh, wet and dew; add rh = ... with th"),
    ('rh = "MT-101A"\n', 'rh = "MT-101A"\ndew = "TT-109"\n', "climate.pairs[0].dew = TT-109: rh is given too; name"),
    ('rh = "MT-101A"\n', 'wet = "MT-101A"\n', "climate.pairs[0].wet = MT-101A: must be in degC, MT-101A is in %"),
    ('rh = "MT-101A"\n', 'wet = "TT-101A"\n', "climate.pairs[0].wet = TT-101A: is the dry bulb of the same pair"),
    ('rh = "MT-101A"\n', 'rh = "MT-101A"\npsychrometer = "still"\n', "climate.pairs[0].psychrometer = still: only "),
    ('tag = "TT-105B"', 'tag = "TT-105A"', "climate.boards[1].tag = TT-105A: already used by climate.boards[0].tag"),
    ('ceiling = "TT-107"', 'ceiling = "FS-101"', "climate.ceiling = FS-101: must be AI, FS-101 is DI; name the AI po"),
    ('water = "TT-103"', 'water = "TT-113"', "heat.water = TT-113: is no point of points/panel-a.csv; did you mean T"),
    ('tag = "XV-102B"', 'tag = "XV-102A"', "fog.bank[1].tag = XV-102A: already used by fog.bank[0].tag; give each its"),
    ("bay = 6\nlevel = 10", "bay = 7\nlevel = 10", "climate.pairs[7].bay = 7: must be from 1 to 6; correct the place"),
    ("bay = 5\nlevel = 11", "bay = 5\nlevel = 13", "product.dummies[1].level = 13: must be from 1 to 12; correct the"),
    ("# TT-101A = 0.05", "TT-101X = 0.05", "signals.offset.TT-101X = TT-101X: is no point of points/panel-a.csv; did"),
    ("# TT-101A = 0.05", "TT-101A = 25", "signals.offset.TT-101A = 25: must be a number from -20 to 20; lower it to"),
    ("cycle_s = 120.0", "cycle_s = 300.0", "fog.bank[0].cycle_s = 300: kg_per_h x cycle_s must be at most 3600"),
    ("cycle_s = 120.0\non_s_min = 3.0", "cycle_s = 50.0\non_s_min = 48.0", "fog.bank[0].cycle_s = 50: must be at le"),
    ("kg_per_h = 45.0", "kg_per_h = 10.0", "fog.bank[1].kg_per_h = 10: banks stand smallest first; change their order"),
    ("capacity_kW = 60.0", "capacity_kW = 2.0", "heat.kW_min = 2: must be below capacity_kW = 2; the heater could ne"),
    ("water_nominal_degC = 70.0", "water_nominal_degC = 30.0", "heat.water_nominal_degC = 30: must be above air_nomi"),
    ("kg_per_s_max = 1.0", "kg_per_s_max = 0.01", "vent.kg_per_s_min = 0.02: must be below kg_per_s_max = 0.01; the"),
    ("temperature_degC_max = 45.0", "temperature_degC_max = 4.0", "limits.temperature_degC_max = 4: must be above te"),
    ("fan_kg_per_s_min = 3.0", "fan_kg_per_s_min = 12.5", "limits.fan_kg_per_s_max = 12: must be at least fan_kg_per"),
    ("fan_kg_per_s_max = 12.0", "fan_kg_per_s_max = 13.0", "limits.fan_kg_per_s_max = 13: must be at most f"),
    ("fan_kg_per_s = 9.0 ", "fan_kg_per_s = 2.0 ", "sequence.fan_kg_per_s = 2: must be at least 3, the flow at fan.s"),
    ("ramp_K_per_h_max = 3.0", "ramp_K_per_h_max = 6.0", "limits.ramp_K_per_h_max = 6: must be at most constraints.r"),
    ("product_degC_max = 50.0", "product_degC_max = 56.0", "constraints.product_degC_max = 56: must be at most limit"),
    ("off_margin_K = 1.0", "off_margin_K = 0.5", "frame_heating.off_margin_K = 0.5: must be above on_margin_K = 0.5"),
    ("air_degC_max = 48.0", "air_degC_max = 45.0", "protection.air_degC_max = 45: must be above limits.temperature_d"),
    ("product_degC_max = 58.0", "product_degC_max = 55", "protection.product_degC_max = 55: must be above limits.pro"),
    ('fog_valves = ["XV-102A", "XV-102B"]', 'fog_valves = ["XV-102A"]', "protection.fog_valves = XV-102A: must have"),
    ('heat_valve = "TCV-103"', 'heat_valve = "ZC-120"', "protection.heat_valve = ZC-120: must be TCV-103, as heat.va"),
    ("# door-open = 60.0", "door-opens = 60.0", "protection.delay_s.door-opens = 60.0: there is no such row; did you"),
    ('device = "panel-a"', 'device = "panel-b"', "device file = (missing): there is no such file; did you mean panel"),
    ('points = "panel-a"', 'points = "no/x.csv"', "points file = (missing): there is no such file; known: panel-a"),
    ("[vent]", "[went]", "vent = (missing): needed: a table with damper, kg_per_s_max, rangeability, authority; add a",
     "went = {"),
    ("margin_K = 0.15", "marginK = 0.15", "climate.marginK = 0.15: unknown key marginK; did you mean margin_K?"),
    ("drying_mean_max = 0.10", "drying_mean_max = 0.05", "alarms.drying_mean_max = 0.05: must be above drying_mean_w"),
    ('horn = "YA-191"', 'horn = "YL-190"', "alarms.horn = YL-190: already used by alarms.beacon; give each its own po"),
    ("bays = 6", "bays = 0", "bays = 0: must be a whole number from 1 to 40; raise it to 1 or more"),
]  # fmt: skip
IN_POINTS = [
    ("TT-101B,AI", "TT-101A,AI", "TT-101A.tag = TT-101A: the tag stands twice; give each point its own"),
    (",9,,4-20mA", ",8,,4-20mA", "TT-101B.address = 8: TT-101A is there already; give each point its own place"),
    ("261,1,contact", "261,0,contact", "YC-103.address = 261 bit 0: YC-101 is there already; give each point its own"),
    ("panel-a,255,8,,4-20mA", "panel-x,255,8,,4-20mA", "TT-101A.device = panel-x: must be panel-a; rename the device"),
    ("panel-a,255,258,,", "panel-a,255,100,,", "SC-101.address = 100: must be in 258..375; move the point into its b"),
    ("0,10000,0,100,%,,,50", "0,10000,0,100,%,,,150", "SC-101.safe = 150: must be from 0 to 100; give what the device"),
    ("4000,20000,-10,60", "4000,20000,60,-10", "TT-101A.hi = -10: must be above lo = 60; swap or change the two"),
    ("4000,20000,-10,60", "4000,4000,-10,60", "TT-101A.raw_hi = 4000: must differ from raw_lo = 4000; give the raw s"),
    ("261,0,contact", "261,0,raw", "YC-101.signal = raw: must be contact for DO; correct the signal or the kind"),
    ("TT-101A,AI", "tt 101a,AI", "tt 101a.tag = tt 101a: must be capital letters, -, digits and perhaps a letter; wri"),
    ("YC-106,DO", "YC-106,DI", "YC-106.address = 261: must be in 8..119",
     "frame_heating.output = YC-106: must be DO, YC-106 is DI", "protection.frame_heat = YC-106: must be DO"),
]  # fmt: skip
IN_RECIPE = [
    ("floor_degC = 20.0", "floor_degC = 4.0", "phases[0].floor_degC = 4 degC: 5 to 45 degC; choose a temperature ins"),
    ("rate_K_per_h = 0.8", "rate_K_per_h = 4.0", "phases[1].rate_K_per_h = 4 K/h: at most 3 K/h; choose a slower rate"),
    ("ceiling_degC = 30.0", "ceiling_degC = 20.3", "phases[0].ceiling_degC = 20.3 degC over a floor of 20 degC: equa"),
    ("rh_accept_pct = 94.0", "rh_accept_pct = 96.0", "phases[2].rh_accept_pct = 96 %: at most rh_fog_below_pct = 95."),
    ("holdback_K = 1.0", "fan_kg_per_s = 2.0", "phases[1].fan_kg_per_s = 2 kg/s: 3 to 12 kg/s; choose a flow at wh"),
    ("cycle_h = 24.0", "cycle_h = 240.0", "phases[2].end.cycle_h = 240 h: at most 168 h; shorten it"),
    ("equivalent_age_h = 30.0", "equivalent_age_h = 1000", "phases[2].end.equivalent_age_h = 1000 h: demo-60"),
    ("equivalent_age_h = 30.0", "strength_MPa = 70.0", "phases[2].end.strength_MPa = 70 MPa: demo-60 reaches at most"),
    ("time_h = 2.0", "hours = 2.0", "phases[0].end.hours = 2.0: unknown key hours; remove it; known here: match, tim"),
    ('kind = "ramp"', 'kind = "rampe"', 'phases[1].kind = "rampe": must be one of "fill", "rest", "ramp", "hold'),
]  # fmt: skip


def only(found: list[str], file: str, said: tuple[str, ...]) -> None:
    """Exactly these problems; in other files than `file` only what follows from them."""
    texts = [problem.split(": ", 1)[1] for problem in found]
    for text in said:
        assert any(problem.startswith(text) for problem in texts), (text, found)
    assert len(found) == len(said), found


@pytest.mark.parametrize("case", IN_CHAMBER, ids=lambda case: case[1])
def test_one_contradiction_in_a_chamber_is_said_in_words(configs, case):
    old, new, *said = case
    change(configs / CHAMBER, old, new)
    with pytest.raises(ConfigError) as caught:
        bundle.load_site(configs / CHAMBER, device_class=Device, layout=require_layout)
    only([str(problem).replace(str(configs) + "/", "") for problem in caught.value.problems], CHAMBER, tuple(said))


@pytest.mark.parametrize("case", IN_POINTS, ids=lambda case: case[1])
def test_one_clash_in_a_point_list_is_said_in_words(configs, case):
    old, new, *said = case
    change(configs / POINTS, old, new)
    only(problems(configs), POINTS, tuple(said))


@pytest.mark.parametrize("case", IN_RECIPE, ids=lambda case: case[1])
def test_one_excess_of_a_recipe_is_said_in_words(configs, case):
    old, new, *said = case
    change(configs / RECIPE, old, new)
    only(problems(configs), RECIPE, tuple(said))


@pytest.mark.parametrize(
    ("file", "old", "new", "said"),
    [
        ("mixes/demo-60.toml", "= 2300.0", "= 2.3", "density_kg_per_m3 = 2.3: must be a number from 1000 to 4000"),
        ("devices/panel-a.toml", "5020", "502000", "port = 502000: must be a whole number from 1 to 65535; lower it"),
        ("devices/panel-a.toml", '"FC23"', '"FC32"', 'turn = "FC32": must be one of "FC23", "FC03+FC16"; did you mean'),
    ],
)
def test_mix_and_device_are_judged_too(configs, file, old, new, said):
    change(configs / file, old, new)
    only(problems(configs), file, (said,))


def test_all_problems_of_all_files_are_said_at_once(configs):
    change(configs / CHAMBER, 'supply = "TT-108"', 'supply = "TT-208"')
    change(configs / CHAMBER, "cycle_s = 120.0", "cycle_s = 300.0")
    change(configs / POINTS, ",9,,4-20mA", ",8,,4-20mA")
    change(configs / RECIPE, "rate_K_per_h = 0.8", "rate_K_per_h = 8.0")
    change(configs / "mixes/demo-60.toml", "name", "nam")
    change(configs / "devices/panel-a.toml", "port", "prt")
    names = [problem.split(":")[0] for problem in problems(configs)]
    assert sorted(set(names)) == [CHAMBER, "devices/panel-a.toml", "mixes/demo-60.toml", POINTS, RECIPE]


def test_a_missing_chamber_still_has_recipe_and_mix_read(configs):
    change(configs / RECIPE, "kind", "knd")
    (configs / CHAMBER).unlink()
    found = problems(configs)
    assert any("chamber file = (missing)" in problem for problem in found)
    assert any("unknown key knd; did you mean kind?" in problem for problem in found)


def test_every_tag_of_the_chamber_file_has_a_role():
    """A new section cannot bring tags that nobody checks: every text in the demo chambers is a tag with a role, or
    one of the few that are none. And no role is left over (no demo is heated by gas, none adds rows of its own)."""
    plain: set[str] = set()
    for name in ("demo-north", "demo-east", "demo-west"):
        chamber = bundle.load_site(name, device_class=Device, layout=require_layout).chamber
        plain |= {place for _, place, value in tags.leaves(chamber) if isinstance(value, str)}
    none = {"name", "text", "points", "device", "devices", "heat.kind", "fog.kind", "climate.pairs.psychrometer",
            *(f"duty.{field}" for field in ("tag", "text", "action", "kind", "drive", "last", "blocks"))}
    assert plain - set(tags.ROLES) <= none
    unused = {"heat.fire", "protection.row.contacts", "protection.row.readings", "by_hand.fixed"}
    assert set(tags.ROLES) <= plain | unused


def test_the_demo_chamber_says_every_field_that_it_could_leave_out():
    """The demo is the text from which people begin: no section of the class may be hidden in defaults."""
    text = (SHIPPED / CHAMBER).read_text(encoding="utf-8")
    for name in ChamberFile.__dataclass_fields__:
        assert f"[{name}" in text or f"\n{name} = " in text or f"\n# {name} = " in text, name


@pytest.mark.parametrize("recipe", known("recipe"))
@pytest.mark.parametrize("load_t", [24.0, 120.0, 132.0])
def test_what_the_checks_let_through_can_be_bound(recipe, load_t):
    """The core's own binding looks every tag up again: it must find nothing that the checks missed."""
    whole = bundle.load_bundle("demo-north", recipe, "demo-60", device_class=Device, layout=require_layout)
    assert plan.bind(whole.chamber, whole.points, whole.recipe, whole.mix, load_t=load_t).dt_s == 1.0
