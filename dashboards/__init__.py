"""Dashboards: which figures, tables, sentences and pages are made from what `forecast` answers?

Pure: frames and a date in, figures, rows and HTML out. `figures` holds one file per figure and the
register `FIGURES`. `pages` turns frames into what a template needs. `render` fills the templates.
`assets` holds the static files. `report` writes one file that opens without a network.
"""
