"""Bench model.

What does the bench need to know: minutes, places in the queue, stock, quotes, tolerances?

All modules are pure. `standards` holds defaults, `minutes` the shop's own times, and `hours` the
opening hours. `free_days` says which days can be promised. `queue` simulates the bench and
`year_ahead` a year of it. `dates` gives days to book and return. `stock` advises orders and
`stock_days` follows them. `findings` say what each part of a
pair leads to, and `quoting` prices the ways. `shoe_record` compares measures, and `origins` lists
every default.
"""
