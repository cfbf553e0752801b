"""How does Alembic reach the database that `api.storage.schema` has opened?"""

from __future__ import annotations

from alembic import context

# their tables belong to the metadata
from solespan.api.storage.tables import (  # noqa: F401
    accounts,
    bench,
    notices,
    planning,
    reminders,
    results,
)
from solespan.api.storage.tables.rack import Root

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Root.metadata,
    # SQLite cannot alter most things in place: batch mode copies the table.
    render_as_batch=True,
    # The transaction around all migrations is begun and committed by `api.storage.schema`.
    transactional_ddl=False,
    compare_server_default=True,
)
context.run_migrations()
