"""Backups: one file that holds every row of a database, and can be checked without it."""
