"""Explanations: drivers, inspection value, thickness by day, diagnostics."""
