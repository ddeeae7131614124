"""Trouble-code triage at intake."""
