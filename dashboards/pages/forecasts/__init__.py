"""Pages of forecasts, fits and the look back at past forecasts."""
