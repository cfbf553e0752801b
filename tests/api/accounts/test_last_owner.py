"""Does a shop keep an owner, whoever removes whom at the same moment?"""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor

import pytest
from sqlalchemy import text

from solespan.api.errors import Conflict
from solespan.api.services.accounts import people
from solespan.api.settings import Settings
from solespan.api.storage.accounts import accounts
from solespan.api.wiring import build_services

ONE, OTHER = "ada@example.org", "ben@example.org"
WAITING = text("SELECT count(*) FROM pg_locks WHERE NOT granted")


def test_two_owners_cannot_remove_each_other_at_once(own_postgres, clock, hashed):
    services = build_services(Settings(database_url=own_postgres(), accounts=True), clock)
    database = services.database
    with database.writing() as session:
        for email in (ONE, OTHER):
            user_pk = accounts.add_person(session, email=email, password_hash=hashed)
            accounts.join(session, user_pk=user_pk, tenant_pk=1, role="owner")

    def remove(session, email: str) -> None:
        people.remove_member(session, tenant_pk=1, member=email, now=clock.now())

    def remove_other() -> None:
        with database.writing() as session:
            remove(session, OTHER)

    with ThreadPoolExecutor(1) as pool:
        with database.writing() as session:
            remove(session, ONE)
            late = pool.submit(remove_other)
            while not late.done() and not session.execute(WAITING).scalar_one():
                time.sleep(0.02)
        with pytest.raises(Conflict):
            late.result(60)
    with database.reading() as session:
        assert [m["email"] for m in people.members_of(session, 1)] == [OTHER]
    database.close()
