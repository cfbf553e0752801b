"""How does a folder of CSV files become rows, with every doubtful cell named?

The steps, in order: `reading` makes columns of text of a stream, `cells` reads each cell by its
column's kind, `drafts` keeps the rows that are still good, `world` reads what the database knows,
`references` and `soles` refuse rows that cannot be true, `questions` names rows that are odd,
`planning` finds what is new and writes it, `report` tells. The door is
`api.services.importing.imports`.
"""
