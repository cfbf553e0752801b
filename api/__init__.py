"""Service: how does solespan meet the world: database, files, HTTP and the command line?

`routes` and `cli` are two doors to the same `services`. `storage` alone writes SQL and turns rows
into what `forecast` reads. `wiring` builds the concrete objects from `settings`.
"""
