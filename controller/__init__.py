"""Dewhold: the soft-PLC that holds a curing chamber's dew point and temperature.

Control and monitoring only, never a safety function.
"""

__version__ = "0.1.0"
