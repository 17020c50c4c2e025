"""Verification and validation of the chamber model: checks, planted errors, measured data, trade facts, the report."""
