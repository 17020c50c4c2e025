"""Outdoor air over time: constant, or an hourly table."""

from __future__ import annotations

from collections.abc import Sequence

from plantsim.kernel.moistair import humidity_ratio, psat


class Weather:
    """Outdoor temperature and relative humidity, constant or interpolated between full hours.

    A table begins at the start of the simulation and repeats when it ends.
    """

    def __init__(self, temperature_degC: Sequence[float], rh_pct: Sequence[float]) -> None:
        """One value an hour each. ValueError if the tables are empty, differ in length or leave physical range."""
        if not temperature_degC or len(temperature_degC) != len(rh_pct):
            raise ValueError(f"weather of {len(temperature_degC)} temperatures and {len(rh_pct)} humidities")
        for t, rh in zip(temperature_degC, rh_pct, strict=True):
            if not (-60.0 <= t <= 60.0 and 0.0 <= rh <= 100.0):
                raise ValueError(f"weather of {t} degC and {rh} %RH; limits are -60..60 degC and 0..100 %RH")
        self._degC = tuple(float(t) for t in temperature_degC)
        self._rh_pct = tuple(float(rh) for rh in rh_pct)

    @classmethod
    def constant(cls, temperature_degC: float, rh_pct: float) -> Weather:
        """The same outdoor air all the time."""
        return cls((temperature_degC,), (rh_pct,))

    @property
    def hours(self) -> int:
        """Length of its table; 1 = constant."""
        return len(self._degC)

    def at(self, time_s: float) -> tuple[float, float]:
        """(degC, %RH) at a time since the start."""
        hours = len(self._degC)
        if hours == 1:
            return self._degC[0], self._rh_pct[0]
        # whole hours first: so the same hour of a later week gives the same air to the last bit
        i = int(time_s // 3600.0)
        share = (time_s - 3600.0 * i) / 3600.0
        a, b = i % hours, (i + 1) % hours
        return (
            self._degC[a] + share * (self._degC[b] - self._degC[a]),
            self._rh_pct[a] + share * (self._rh_pct[b] - self._rh_pct[a]),
        )


def moisture(temperature_degC: float, rh_pct: float, pressure_Pa: float) -> float:
    """Moisture content of air, kg/kg."""
    return float(humidity_ratio(rh_pct / 100.0 * psat(temperature_degC), pressure_Pa))
