"""Cause and effect: the last word on the outputs."""
