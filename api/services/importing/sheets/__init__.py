"""Sheets service: how does a sheet that a person keeps become the interchange tables?

The steps have this order. `sheet` reads files into rows of cells, `blocks` finds tables and their
headers, and `columns` proposes what each column means. `grid` reads calendars with days across.
`records` reads the cells of each row. `people`, `soles` and `events` make rows of the tables. The
door is `translate`. All functions are pure: a translation depends on sheets and answers only.
"""
