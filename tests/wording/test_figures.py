"""Figures in the signs of a language."""

from __future__ import annotations

from controller.wording.figures import Figure, figure


def test_a_figure_takes_the_signs_of_its_language_and_words_stay() -> None:
    assert f"{Figure(12.345, ','):.1f}" == "12,3"
    assert f"{Figure(12345.6, ',', '.'):.1f}" == "12.345,6"
    assert f"{Figure(0.5, ','):g}" == "0,5"
    assert f"{Figure(1234.5, '.'):.1f}" == "1234.5"
    assert f"{Figure('demo-60.toml', ',')}" == "demo-60.toml"
    assert f"{Figure('a, b', ','):s}" == "a, b"


def test_a_figure_in_a_sentence_is_told_from_a_name() -> None:
    assert figure("-0.25", "de") == "-0,25"
    assert figure("0.25", "en") == "0.25"
    assert figure("10.0.0.1", "de") == "10.0.0.1"
    assert figure("panel-a.toml", "de") == "panel-a.toml"
