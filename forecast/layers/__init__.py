"""Layers of a shoe's bottom.

Which layers are there, how thick are they when new, when is each renewed, and how many soles can
the seam's carrier still take? Every number is common practice without a source: an editable
default. `origins` lists them all.
"""
