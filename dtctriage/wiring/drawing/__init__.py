"""Schematics of a profile's circuits, supplies, feed tree and buses, as SVG and PDF."""
