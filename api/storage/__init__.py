"""Storage.

Where do wearers, pairs and what was logged about them stay, and how do they get in and out?

`engine` opens a database from one address, and `session` begins and ends transactions. `tables`
holds the tables. `rack/frames` turns rows into a wear log, and `rack/versions` finds wearers that
changed. `importing/bulk` writes many rows at once, and `forecasts` keeps fits and forecasts.
"""
