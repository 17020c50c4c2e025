"""Units for display: data, for what is shown and typed only; what is stored and sent stays SI."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from CoolProp.CoolProp import PropsSI
from starlette.testclient import TestClient

from controller.config.site import SiteFile
from controller.page.live.places import places
from controller.page.web.units import label, sets

AsRole = Callable[[str], TestClient]
US = sets()["us"]["unit"]


def shown(value: float, unit: str) -> float:
    return float(value * US[unit]["times"] + US[unit]["plus"])


def data_of(html: str) -> dict[str, object]:
    found: dict[str, object] = json.loads(html.split('id="data">')[1].split("</script>")[0])
    return found


@pytest.mark.outside("memory: definitions of the pound, the short ton, the foot, the psi and the grain")
@pytest.mark.parametrize(
    ("value", "unit", "expected"),
    [
        (100.0, "degC", 212.0), (-40.0, "degC", -40.0), (10.0, "K", 18.0), (0.45359237, "kg", 1.0),
        (0.90718474, "t", 1.0), (0.45359237 / 60.0, "kg/s", 1.0), (0.45359237 / 0.3048**2, "kg/m2h", 1.0),
        (6.894757293168e-3, "MPa", 1.0), (1.0, "g/kg", 7.0), (1.0, "kWh/t", 0.90718474),
    ],
)  # fmt: skip
def test_factors_are_those_of_the_definitions(value: float, unit: str, expected: float) -> None:
    assert shown(value, unit) == pytest.approx(expected, rel=1e-8)


@pytest.mark.outside("library: CoolProp, water boils at its normal boiling point in both scales")
def test_water_boils_at_212() -> None:
    boils_degC = PropsSI("T", "P", 101325.0, "Q", 0.0, "Water") - 273.15
    assert shown(boils_degC, "degC") == pytest.approx(212.0, abs=0.1)


def test_a_window_gets_the_units_of_the_works_or_its_own_and_the_api_stays_si(as_role: AsRole) -> None:
    window = as_role("view")
    before = window.get("/api/v1/chambers/chamber").json()["now"]["air"]["degC"]
    assert data_of(window.get("/chamber/chamber").text)["units"] == sets()["si"]["unit"]
    assert window.get("/units/us?then=/chamber/chamber").headers["location"] == "/chamber/chamber"
    page = window.get("/chamber/chamber").text
    assert data_of(page)["units"] == US
    assert "°F" in page
    assert window.get("/api/v1/chambers/chamber").json()["now"]["air"]["degC"] == before
    window.get("/units/unknown")
    assert data_of(window.get("/chamber/chamber").text)["units"] == US, "what is no set changes nothing"


def test_a_site_says_which_units_its_page_shows(tmp_path: Path) -> None:
    site = tmp_path / "site.toml"
    site.write_text('name = "x"\nunits = "us"\n[[line]]\nname = "l"\n[[line.chamber]]\nname = "a"\ndata = "a"\n')
    assert places(tmp_path, str(site)).units == "us"
    assert places(tmp_path, str(site), "si").units == "si"
    assert places(tmp_path).units == "si"
    assert set(sets()) == {"si", "us"}, "config/site.py names the sets"
    assert SiteFile.__dataclass_fields__["units"].default == "si"


def test_every_unit_is_written_somehow() -> None:
    assert (label("degC", "us"), label("kWh", "us"), label("degC", "si")) == ("°F", "kWh", "°C")
