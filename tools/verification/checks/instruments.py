"""Instruments against their standards."""

from __future__ import annotations

from collections.abc import Sequence

from plantsim.kernel import instruments
from verification.check import Check, Effort, Figure, Plant, instead, times

OHM = ((-10.0, 96.0859), (0.0, 100.0), (10.0, 103.9025), (25.0, 109.7347), (32.0, 112.4474), (40.0, 115.5408),
       (60.0, 123.2419), (80.0, 130.8968), (100.0, 138.5055))  # fmt: skip


def pt100(_: Effort) -> Sequence[Figure]:
    """Resistance of the platinum resistor."""
    return [
        Figure(what=f"{t:g} degC", expected=ohm, got=instruments.pt100_ohm(t), tolerance=6e-5, unit="ohm")
        for t, ohm in OHM
    ]


def ne43(_: Effort) -> Sequence[Figure]:
    """Currents at the ends of a range, beyond them, and of a lost sensor; 98 %RH as the card counts it."""
    microamps = instruments.microamps
    count = 20000.0 / 32768.0
    cases = ((0.0, 4000.0), (98.0, 19680.0), (100.0, 20000.0), (-50.0, 3800.0), (200.0, 20500.0))
    found = [
        Figure(what=f"{v:g} %RH of 0..100", expected=uA, got=microamps(v, 0.0, 100.0), tolerance=count, unit="uA")
        for v, uA in cases
    ]
    return [*found, Figure(what="lost sensor, at most 3600", expected=3500.0, got=instruments.BURNOUT_uA,
                           tolerance=100.0, unit="uA")]  # fmt: skip


CHECKS = (
    Check(
        name="PT100", subject="instruments", proves="resistance of the resistance thermometer",
        formula="R = 100 (1 + 3.9083e-3 t - 5.775e-7 t^2), t < 0: - 4.183e-12 (t - 100) t^3",
        source="published: IEC 60751's table as reprinted by a sensor maker (0.01 ohm); recomputed to 1e-4 ohm",
        run=pt100,
        plants=(
            Plant(what="coefficient A of the American curve", changes={"kernel.instruments._A": instead(3.9692e-3)}),
            Plant(what="coefficient B's sign", changes={"kernel.instruments._B": times(-1.0)}),
        ),
    ),
    Check(
        name="current loop", subject="instruments",
        proves="4-20 mA, saturation and failure signal, counted as the card does",
        formula="4 + 16 x mA, 3.8..20.5 mA in order, at most 3.6 mA for failure",
        source="published: NAMUR NE 43 as several makers summarise it", run=ne43,
        plants=(
            Plant(what="0-20 mA", changes={"kernel.instruments.LIVE_ZERO_uA": instead(0.0)}),
            Plant(what="saturation at 20 mA", changes={"kernel.instruments.SATURATION_HI_uA": instead(20000.0)}),
        ),
    ),
)  # fmt: skip
