"""SVG made fit for a page."""

from __future__ import annotations

from controller.report.canvas import columns, hour_step, lean, share

RAW = """<?xml version="1.0"?>
<!DOCTYPE svg PUBLIC "x" "http://example.org/svg.dtd">
<svg xmlns:xlink="http://example.org/xlink" width="691pt" height="100pt" viewBox="0 0 691 100"
 xmlns="http://example.org/svg" version="1.1">
 <metadata><a href="http://example.org/made-with"/></metadata>
 <defs><path id="m1" d="M 0.123456 0"/></defs>
 <!-- a remark -->
 <g id="axes_1"><use xlink:href="#m1" x="10.987654" style="clip-path: url(#m1)"/></g>
 <g id="dew-line-MY-101"><path d="M 1.005001 2"/></g>
 <text style="font: 9px 'Some Font', sans-serif; text-anchor: middle">0.0125</text>
</svg>"""


def test_a_figure_names_no_address_and_only_its_own_ids() -> None:
    svg = lean(RAW, "dew")
    assert svg.startswith("<svg")
    assert "http" not in svg
    assert "metadata" not in svg
    assert 'id="dew-m1"' in svg
    assert 'href="#dew-m1"' in svg
    assert "url(#dew-m1)" in svg
    assert 'id="dew-line-MY-101"' in svg
    assert "axes_1" not in svg
    assert "width=" not in svg.split(">")[0]


def test_coordinates_are_shortened_and_labels_are_not() -> None:
    svg = lean(RAW, "dew")
    assert 'x="10.99"' in svg
    assert ">0.0125<" in svg
    assert "font-size: 9px; text-anchor: middle" in svg


def test_a_time_axis_has_eight_to_thirteen_steps_for_a_day_and_never_too_many() -> None:
    assert hour_step(24.0) == 2.0
    assert all(hours / hour_step(hours) <= 13.01 for hours in (0.1, 1.0, 3.0, 24.0, 25.0, 48.0, 168.0, 2000.0))


def test_labels_that_leave_the_unit_no_room_are_set_in_rows() -> None:
    few, many = ["floor", "air, mean"], [f"board bay {bay} level 1" for bay in range(1, 9)]
    assert columns(few, "°C") == 2
    assert columns(many[:4], "limited by") == 4
    assert columns(many, "limited by") == 4
    assert columns(["a board without a probe (bay 3, 4), estimated", *many[:4]], "limited by") == 3
    assert columns(["w" * 200, "x"], "K") == 1


def test_a_longer_name_takes_more_of_the_time_axis() -> None:
    assert 0.0 < share("1 Ruhe") < share("9 Bereitschaft") < 0.12
