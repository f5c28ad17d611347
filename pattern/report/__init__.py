"""Overlays, charts and the printed record."""
