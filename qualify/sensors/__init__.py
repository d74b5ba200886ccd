"""Sensors: certificates, corrections, tolerance classes."""
