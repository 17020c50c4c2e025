"""What the record keeps of every scan beside readings and outputs. `scan.values` gives it, in this order."""

from __future__ import annotations

# tag, text, unit
COMPUTED: tuple[tuple[str, str, str], ...] = (
    ("TY-101", "air temperature, robust mean", "degC"),
    ("TY-101L", "coldest air probe", "degC"),
    ("TY-101H", "hottest air probe", "degC"),
    ("TDI-101", "spread of the air probes", "K"),
    ("MY-101", "dew point, median of pairs", "degC"),
    ("MY-102", "relative humidity at the mean", "%RH"),
    ("TY-105", "coldest watched surface, reserve taken off", "degC"),
    ("TY-106", "dew margin of the coldest surface", "K"),
    ("TIC-101F", "temperature floor", "degC"),
    ("TIC-101C", "temperature ceiling", "degC"),
    ("MIC-101F", "fog below this dew point", "degC"),
    ("MIC-101V", "vent above this dew point", "degC"),
    ("JIC-103", "heat asked for", "kW"),
    ("FIC-120", "vent asked for", "kg/s"),
    ("FIC-102", "fog asked for", "kg/h"),
    ("JDI-103", "heating against venting", "kW"),
    ("TY-104", "product core", "degC"),
    ("TY-104H", "product core, hottest", "degC"),
    ("KY-104L", "equivalent age, youngest position", "h"),
    ("KY-104M", "equivalent age, mean", "h"),
    ("KY-104H", "equivalent age, oldest position", "h"),
    ("FY-104", "drying rate at the product surface", "kg/m2h"),
    ("YI-101", "phase (0 = none)", ""),
    ("YI-193", "rows, points and loops overridden by hand", ""),
)
