"""Repair orders and sweeps, kept."""
