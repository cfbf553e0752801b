"""Backtesting: past forecasts against what happened, baselines, scores."""
