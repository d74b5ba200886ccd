"""Qualify industrial ovens from multi-thermocouple survey files."""

__version__ = "0.3.0"
