"""Files service: how do files of any kind become one import?

The door is `file_imports`. `local_files` finds the files of a path. `sheet_tables` makes tables of
sheets; `sheet_origin` names the person's own rows. `rest_files` writes rows to correct, and
`reading_summary` tells how sheets were read.
"""
