"""Importing service: how does a folder of CSV files become rows, with every doubtful cell named?

The steps have this order. `reading` makes columns of text of a stream, and `cells` reads each cell
by its column's kind. `drafts` keeps the good rows, and `reference_data` reads what the database
knows. `references` and `soles` refuse impossible rows; `plausibility` names odd ones. `planning`
finds new rows and writes them, and `report` gives the result. Wear days and checks are many:
`packed_rows` keeps them small, and `pair_batches` takes the steps some pairs at a time. The door is
`api.services.importing.imports`.
"""
