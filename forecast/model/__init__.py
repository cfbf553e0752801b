"""The nested log-rate model: layout, linearisation, elimination, estimation, posterior."""
