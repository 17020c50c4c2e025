"""Moisture from pairs: humidity, wet bulb or dew point beside a temperature."""

from __future__ import annotations

from dataclasses import replace
from math import isnan, nan

import pytest

from controller.core.climate import climate, moistair, pairs
from controller.core.climate.pairs import PSYCHROMETERS, psychrometer_Pa
from controller.core.frames import Frame, Quality, all_good
from controller.core.points import Point
from controller.errors import ConfigError

OTHERS = ("TT-107", "TT-108", "TT-109", "TT-110", "TT-111", "MT-111", "FT-101", "JT-101", "JT-103", "FT-102")
TAGS = ("TA", "TB", "TC", "XA", "XB", "XC", *OTHERS)
POINTS = tuple(
    Point(tag=tag, kind="AI", text="", device="panel", address=i, signal="4-20mA") for i, tag in enumerate(TAGS)
)
WET = climate.Pair(t="TA", wet="XA", bay=1, level=1)
DEW = climate.Pair(t="TB", dew="XB", bay=2, level=1)
RH = climate.Pair(t="TC", rh="XC", bay=3, level=1)
WMO = PSYCHROMETERS["wmo"]


def config(*three: climate.Pair) -> climate.ClimateConfig:
    names = ("ceiling", "supply", "return_air", "hall", "outdoor_t", "outdoor_rh", "airflow", "fan_power", "heat_power")
    tags = dict(zip((*names, "fog_flow"), OTHERS, strict=True))
    return climate.ClimateConfig(pairs=three, **tags)  # type: ignore[arg-type]


def look(three: tuple[climate.Pair, ...], airs: tuple[float, ...], moisture: tuple[float, ...]) -> climate.Climate:
    plan = climate.bind(config(*three), POINTS, 6, 12)
    values = (*airs, *moisture, 29.0, 31.0, 29.5, 18.0, 8.0, 80.0, 9.0, 4.0, 20.0, 5.0)
    qualities = [int(Quality.BAD if isnan(value) else Quality.GOOD) for value in values]
    good = all_good(len(values)) if not any(qualities) else tuple(qualities)
    return climate.observe(plan, climate.initial(plan), Frame(values, good, ("",) * len(values), (), 0), 1.0)[1]


def wet_bulb(t: float, vapour_Pa: float, name: str) -> float:
    """Wet bulb at which this coefficient gives this vapour pressure, by bisection."""
    low, high = -20.0, t
    for _ in range(60):
        middle = 0.5 * (low + high)
        value = psychrometer_Pa(t, middle, PSYCHROMETERS[name])
        low, high = (low, middle) if value > vapour_Pa else (middle, high)
    return high


def test_three_kinds_of_pair_in_one_air_give_one_dew_point() -> None:
    vapour = moistair.vapour_pressure_Pa(30.0, 90.0)
    air = look((WET, DEW, RH), (30.0, 29.5, 30.5), (
        wet_bulb(30.0, vapour, "wmo"),
        moistair.saturation_temperature_degC(vapour),
        moistair.relative_humidity_pct(30.5, vapour),
    ))  # fmt: skip
    assert air.dew_point_degC == pytest.approx(moistair.dew_point_degC(30.0, 90.0), abs=1e-6)
    assert air.rh_pct == pytest.approx(90.0, abs=1e-4)
    assert air.moisture_ok


def test_the_coefficient_that_the_chamber_file_names_is_used() -> None:
    vapour = moistair.vapour_pressure_Pa(35.0, 60.0)
    for name in PSYCHROMETERS:
        pair = replace(WET, psychrometer=name)
        three = (pair, replace(pair, t="TB", wet="XB"), replace(pair, t="TC", wet="XC"))
        wet = wet_bulb(35.0, vapour, name)
        assert look(three, (35.0,) * 3, (wet,) * 3).rh_pct == pytest.approx(60.0, abs=1e-4)
        others = [psychrometer_Pa(35.0, wet, other) for key, other in PSYCHROMETERS.items() if key != name]
        assert min(abs(other - vapour) for other in others) > 1.0


def test_a_dry_wick_is_outvoted() -> None:
    dew = moistair.dew_point_degC(30.0, 80.0)
    air = look((WET, DEW, RH), (30.0, 30.0, 30.0), (30.0, dew, 80.0))
    assert air.rh_pct == pytest.approx(80.0, abs=1e-6)


def test_what_is_wetter_than_saturated_counts_as_saturated() -> None:
    air = look((WET, DEW, RH), (30.0, 30.0, 30.0), (30.4, 30.2, 101.0))
    assert air.dew_point_degC == pytest.approx(30.0, abs=1e-9)


def test_a_wick_that_cannot_be_gives_no_moisture() -> None:
    assert isnan(psychrometer_Pa(30.0, 31.1, WMO))
    assert isnan(psychrometer_Pa(40.0, 5.0, WMO))
    assert isnan(psychrometer_Pa(nan, 20.0, WMO))
    assert isnan(psychrometer_Pa(30.0, nan, WMO))
    assert psychrometer_Pa(30.0, 31.0, WMO) == moistair.saturation_pressure_Pa(30.0)


@pytest.mark.parametrize("lost", [0, 1, 2])
def test_a_lost_half_takes_its_pair_out_and_no_other(lost: int) -> None:
    dew = moistair.dew_point_degC(30.0, 80.0)
    moisture = [wet_bulb(30.0, moistair.vapour_pressure_Pa(30.0, 80.0), "wmo"), dew, 80.0]
    airs = [30.0, 30.0, 30.0]
    for column in (airs, moisture):
        kept = column[lost]
        column[lost] = nan
        assert look((WET, DEW, RH), tuple(airs), tuple(moisture)).dew_point_degC == pytest.approx(dew, abs=1e-6)
        column[lost] = kept
    assert not look((WET, DEW, RH), (30.0,) * 3, (nan,) * 3).moisture_ok


def test_pairs_of_humidity_alone_keep_their_quick_way() -> None:
    plan = climate.bind(config(RH, replace(RH, t="TA", rh="XA")), POINTS, 6, 12)
    assert plan.ways == ()
    assert len(climate.bind(config(RH, WET), POINTS, 6, 12).ways) == 2


@pytest.mark.parametrize(
    ("pair", "says"),
    [
        (replace(RH, rh=""),
         "rh = (missing): needed: one of rh, wet and dew; add rh = ... with the tag of the humidity beside t"),
        (replace(RH, wet="XA"), "wet = XA: rh is given too; name one of rh, wet and dew"),
        (replace(WET, dew="XB"), "dew = XB: wet is given too; name one of rh, wet and dew"),
        (replace(WET, wet="TA"), "wet = TA: is the dry bulb of the same pair; name the point of the wet bulb"),
        (replace(RH, psychrometer="still"),
         "psychrometer = still: only for a wet bulb; take it out, or name a wet bulb"),
        (replace(WET, wet="XZ"),
         "wet = XZ: not an AI point of the point list; add the point or correct the tag"),
    ],
)
def test_pairs_that_are_none_are_refused_with_their_remedy(pair: climate.Pair, says: str) -> None:
    with pytest.raises(ConfigError) as refused:
        climate.bind(config(pair), POINTS, 6, 12)
    assert str(refused.value).partition(": ")[2] == f"climate.pairs[0].{says}"


def test_a_pair_without_moisture_reads_as_humidity_without_a_tag() -> None:
    assert pairs.reading_of(replace(RH, rh="")) == ("rh", "")


@pytest.mark.parametrize("name", sorted(PSYCHROMETERS))
def test_the_formula_of_a_psychrometer(name: str) -> None:
    """e = es(tw) - A p (t - tw), A = per_K (1 + rise tw); recomputed here in one line."""
    dry, wet, pressure = 30.0, 24.0, 90_000.0
    per_K, rise = PSYCHROMETERS[name]
    expected = moistair.saturation_pressure_Pa(wet) - per_K * (1.0 + rise * wet) * pressure * (dry - wet)
    assert psychrometer_Pa(dry, wet, PSYCHROMETERS[name], pressure) == pytest.approx(expected, rel=1e-12)


def test_any_vapour_above_none_counts() -> None:
    """The pressure at which half a pascal is left."""
    dry, wet = 30.0, 24.0
    A = WMO.per_K * (1.0 + WMO.rise_per_K * wet)
    pressure = (moistair.saturation_pressure_Pa(wet) - 0.5) / (A * (dry - wet))
    assert psychrometer_Pa(dry, wet, WMO, pressure) == pytest.approx(0.5, abs=1e-6)


def test_a_wick_hardly_colder_than_the_air_is_nearly_saturated_and_an_equal_one_is() -> None:
    assert psychrometer_Pa(30.0, 30.0, WMO) == moistair.saturation_pressure_Pa(30.0)
    assert psychrometer_Pa(30.0, 29.5, WMO) < 0.97 * moistair.saturation_pressure_Pa(30.0)


def test_the_pressure_of_the_site_counts() -> None:
    """A wet bulb 6 K below: 2 % less air, so much more vapour."""
    way = pairs.ways((WET, RH), 80_000.0, moistair.saturation_pressure_Pa)[0]
    assert way(30.0, 24.0) == psychrometer_Pa(30.0, 24.0, WMO, 80_000.0)
    assert way(30.0, 24.0) > psychrometer_Pa(30.0, 24.0, WMO) + 50.0


def test_humidity_and_dew_point_beside_a_wet_bulb() -> None:
    _wet, rh, dew = pairs.ways((WET, RH, DEW), 101_325.0, moistair.saturation_pressure_Pa)
    top = moistair.saturation_pressure_Pa(30.0)
    assert rh(30.0, 50.0) == pytest.approx(0.5 * top)
    assert rh(30.0, 100.5) == rh(30.0, 100.0) == pytest.approx(top)
    assert dew(30.0, 20.0) == moistair.saturation_pressure_Pa(20.0)
    assert dew(30.0, 31.0) == dew(30.0, 30.0) == top
    assert isnan(dew(nan, 20.0))
    assert isnan(dew(30.0, nan))


def test_saturation_pressures_are_remembered_up_to_a_number_and_never_wrong(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pairs, "_REMEMBERED", 3)
    known = pairs.Remembered()
    for temperature in (10.0, 20.0, -40.0, -50.0, 10.0, 30.0):
        assert known[temperature] == moistair.saturation_pressure_Pa(temperature)
        assert len(known) <= 3
    assert 30.0 in known
    assert isnan(known[nan])
    assert len(known) == 3


def test_a_sound_pair_has_no_problem() -> None:
    assert [pairs.problem_of(pair) for pair in (WET, DEW, RH, replace(WET, psychrometer="still"))] == [None] * 4
