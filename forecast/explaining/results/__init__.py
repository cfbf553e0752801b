"""Results of a fit with its log: tables, forecasts and drawings by the names statisticians know."""
