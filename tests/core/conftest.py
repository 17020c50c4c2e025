"""A chamber that is well, as small objects that a test changes where it wants to."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from controller.config.loader import load_table
from controller.core.climate import Climate
from controller.core.frames import Frame, Outputs
from controller.core.points import Point, index_of, of_kind
from controller.core.product import Product

POINTS = Path(__file__).parents[2] / "configs" / "points" / "panel-a.csv"


@pytest.fixture(scope="session")
def points() -> tuple[Point, ...]:
    """The point list of the demo panel."""
    return load_table(POINTS, Point)


@pytest.fixture
def air() -> Climate:
    """An even chamber at 30 degC, dew point 0.3 K below its coldest surface."""
    return Climate(
        temperature_degC=30.0, coldest_degC=29.9, hottest_degC=30.1, spread_K=0.2, dew_point_degC=29.4,
        humidity_ratio=0.0264, rh_pct=96.6, surface_degC=29.7, surface="board bay 6 level 1", dew_limit_degC=29.55,
        dew_margin_K=0.3, supply_degC=31.0, return_degC=30.0, hall_degC=15.0, outdoor_degC=8.0,
        outdoor_humidity_ratio=0.005, airflow_kg_per_s=9.0, fan_kW=4.0, heat_kW=10.0, fog_kg_per_h=5.0,
        temperature_ok=True, moisture_ok=True, surface_ok=True,
    )


@pytest.fixture
def product() -> Product:
    """Product of 12 h equivalent age, a little warmer than the air and hardly drying."""
    return Product(
        core_degC=31.0, core_degC_max=32.0, surface_degC=30.2, drying_kg_per_m2h=0.01, word="neutral", age_h_min=12.0,
        age_h_mean=12.5, age_h_max=13.0, strength_MPa_min=5.0, ready_fraction=0.0, ok=True,
    )


@pytest.fixture
def frame(points: tuple[Point, ...]) -> Frame:
    """Every reading good at 25, every contact closed."""
    analog, contacts = len(of_kind(points, "AI")), len(of_kind(points, "DI"))
    return Frame((25.0,) * analog, (0,) * analog, ("",) * analog, (True,) * contacts, 0)


@pytest.fixture
def opened(frame: Frame, points: tuple[Point, ...]) -> Callable[..., Frame]:
    """A frame with the named contacts open."""
    columns = index_of(points, "DI")

    def open_(*tags: str, of: Frame = frame) -> Frame:
        found = {columns[tag] for tag in tags}
        return replace(of, discrete=tuple(on and n not in found for n, on in enumerate(of.discrete)))

    return open_


@pytest.fixture
def reading(frame: Frame, points: tuple[Point, ...]) -> Callable[..., Frame]:
    """A frame with one reading changed."""
    columns = index_of(points, "AI")

    def read(tag: str, value: float, quality: int = 0) -> Frame:
        column = columns[tag]
        values, qualities = list(frame.values), list(frame.qualities)
        values[column], qualities[column] = value, quality
        return replace(frame, values=tuple(values), qualities=tuple(qualities))

    return read


@pytest.fixture
def written(points: tuple[Point, ...]) -> Callable[..., Outputs]:
    """Outputs by tag; what is not named is 0 or off."""

    def write(**by_tag: float | bool) -> Outputs:
        named = {tag.replace("_", "-"): value for tag, value in by_tag.items()}
        return Outputs(
            tuple(float(named.get(point.tag, 0.0)) for point in of_kind(points, "AO")),
            tuple(bool(named.get(point.tag, False)) for point in of_kind(points, "DO")),
        )

    return write


@pytest.fixture
def tag_of(points: tuple[Point, ...]) -> Callable[[Outputs, str], float | bool]:
    """One output by tag."""
    analog, discrete = index_of(points, "AO"), index_of(points, "DO")

    def get(outputs: Outputs, tag: str) -> float | bool:
        return outputs.analog[analog[tag]] if tag in analog else outputs.discrete[discrete[tag]]

    return get
