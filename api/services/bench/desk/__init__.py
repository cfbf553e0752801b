"""Desk services of bench: the shop's day, its customers, and the reception of a pair."""
