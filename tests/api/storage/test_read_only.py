"""Do reads answer, and does the background rest, while the database takes no writes?"""

from __future__ import annotations

import pytest
from sqlalchemy import event, text
from sqlalchemy.exc import DBAPIError

from solespan.api.errors import SolespanError

READS = ("/", "/rotation", "/plan", "/pairs/oxford", "/v1/pairs", "/v1/forecasts", "/v1/fit")
REFUSE = {
    "sqlite": "PRAGMA query_only = ON",
    "postgresql": "SET default_transaction_read_only = on",
}


@pytest.fixture
def read_only(fitted, fitted_services):
    """The fitted rack, its past years looked back on, on connections that refuse to write."""
    fitted_services.refitter.once()
    engine = fitted_services.database.engine
    engine.dispose()

    def refuse(connection, _record):
        cursor = connection.cursor()
        cursor.execute(REFUSE[engine.dialect.name])
        cursor.close()
        connection.commit()

    event.listen(engine, "connect", refuse)
    return fitted


def test_reads_answer(read_only):
    assert {path: read_only.get(path).status_code for path in READS} == dict.fromkeys(READS, 200)


def test_a_write_changes_nothing(read_only, fitted_services):
    body = {"pair_id": "derby", "worn_on": "2026-06-10"}
    assert read_only.post("/v1/wear-days", json=body).status_code >= 500
    assert read_only.get("/v1/wear-days/derby/2026-06-10").status_code == 404
    with pytest.raises((SolespanError, DBAPIError)), fitted_services.database.writing() as session:
        session.execute(text("DELETE FROM fits"))


def test_a_background_that_has_nothing_to_do_writes_nothing(read_only, fitted_services):
    fitted_services.refitter.once()
    assert not fitted_services.refitter.refit_waiting
