"""Where do wearers, pairs and what was logged about them stay, and how do they get in and out?

`engine` opens a database from one address, `session` begins and ends transactions, `tables` says
what is stored, `frames` turns rows into a wear log, `bulk` writes many rows at once, `forecasts`
keeps fits and forecasts, `versions` tells which wearers changed since.
"""
