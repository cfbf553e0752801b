"""Forecasts, fits and the look back at past forecasts."""
