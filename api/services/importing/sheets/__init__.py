"""Sheets service: how does a sheet that a person keeps become the interchange tables?

The steps have this order. `files` reads files into `sheet.Sheet`, rows of cells. `layout` finds the
tables in them, their headers and what each column means. `cells` says what one cell means, with the
words of its folder `register`. `assembly` makes people, pairs, soles and events of all rows. The
door is `translate`. All functions are pure: a translation depends on sheets and answers only.
"""
