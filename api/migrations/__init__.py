"""How does a database of an earlier version become one of this version?

Each file in `versions` says what it changes and how to go back. `api.storage.schema` runs them.
"""
