"""Is a program's key made by command in the name of a member, and never beyond what they may?"""

from __future__ import annotations

import pytest

from solespan.api.errors import NotFound, Refused
from solespan.api.services.accounts.tokens import make_token, member_identity
from tests.api.accounts.conftest import NOW, OUTSIDER, OWNER, STAFF, bearer


def made(services, email, *scopes):
    with services.database.writing() as session:
        who = member_identity(session, 1, email)
        return make_token(session, who, name="till", scopes=scopes, now=NOW)[1]


def test_the_key_opens_what_it_may_and_the_one_before_ends(services, client):
    first, second = (made(services, OWNER.upper(), "read") for _ in range(2))
    assert client.get("/v1/pairs", headers=bearer(second)).status_code == 200
    assert client.get("/v1/members", headers=bearer(second)).status_code == 403
    assert client.get("/v1/pairs", headers=bearer(first)).status_code == 401


def test_nobody_gets_more_than_they_have_or_a_key_of_another_shop(services):
    with pytest.raises(Refused, match="scopes"):
        made(services, STAFF, "manage")
    with pytest.raises(NotFound, match="no member"):
        made(services, OUTSIDER, "read")
