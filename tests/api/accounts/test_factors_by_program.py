"""A person's own program reads and changes their second factor; a key for programs does not."""

from __future__ import annotations

import pyotp
import pytest

from solespan.api.services.accounts import second_factor
from tests.api.accounts.conftest import OWNER, PASSWORD, bearer
from tests.api.accounts.test_passkeys import _address as _known_address  # noqa: F401
from tests.api.accounts.test_passkeys import added, new_device

AT = "/v1/second-factor"
AGAIN = {"password": PASSWORD}


def enrolled(client, clock) -> list[str]:
    seed = client.put(f"{AT}/seed", json=AGAIN)
    assert seed.headers["cache-control"] == "no-store"
    made = seed.json()
    assert made["seed"] in made["address"]
    code = pyotp.TOTP(made["seed"]).at(clock.now())
    first = {"secret": made["secret"], "code": code}
    kept = client.put(f"{AT}/authenticators/my%20phone", json=first)
    assert kept.status_code == 200, kept.text
    assert client.put(f"{AT}/authenticators/again", json=first).status_code == 404
    return kept.json()["recovery_codes"]


def test_a_second_factor_is_read_added_and_removed(client, enter, services, clock):
    with services.database.writing() as session:
        second_factor.put_policy(session, 1, "owners")
    enter(client, OWNER)
    assert client.get(AT).json() == {
        "authenticators": [],
        "passkeys": [],
        "codes_left": 0,
        "needed": True,
    }
    codes = enrolled(client, clock)
    added(client, new_device())
    mine = client.get(AT).json()
    assert (mine["codes_left"], mine["needed"], len(codes)) == (10, False, 10)
    assert [row["name"] for row in (*mine["authenticators"], *mine["passkeys"])] == [
        *("my phone", "My phone")
    ]
    assert "seed" not in str(mine)
    fresh = client.put(f"{AT}/recovery-codes", json=AGAIN).json()["recovery_codes"]
    assert len({*fresh, *codes}) == 20
    for row in (*mine["authenticators"], *mine["passkeys"]):
        removed = client.put(f"{AT}/removals/{row['factor_id']}", json=AGAIN)
        assert removed.status_code == 204
        assert client.put(f"{AT}/removals/{row['factor_id']}", json=AGAIN).status_code == 404
    assert client.get(AT).json()["codes_left"] == 0


CHANGES = ("seed", "recovery-codes", "removals/x9")


@pytest.mark.parametrize("what", CHANGES)
def test_each_change_asks_for_the_password(client, enter, what):
    enter(client, OWNER)
    told = client.put(f"{AT}/{what}", json={"password": "guess"})
    assert told.json()["type"] == "/problems/sign-in-refused"


def test_a_key_for_programs_neither_sees_nor_changes_it(client, token_of):
    headers = bearer(token_of(OWNER, "read", "write", "manage"))
    told = [client.get(AT, headers=headers)]
    told += [client.put(f"{AT}/{what}", json=AGAIN, headers=headers) for what in CHANGES]
    first = {"secret": "x", "code": "123456"}
    told.append(client.put(f"{AT}/authenticators/x", json=first, headers=headers))
    assert [answer.status_code for answer in told] == [422] * 5
    assert "key for programs" in told[0].text
