"""Second factor service: how does a person add an authenticator, and lose a second factor?

Adding and removing ask for the password again. A code or a recovery code is good once. A new or
removed factor ends the person's other sessions.
"""

from __future__ import annotations

import base64
import re
import secrets as randomness
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.errors import Conflict, NotFound, Refused
from solespan.api.services.accounts import attempts, codes, secrets, totp
from solespan.api.services.accounts.attempts import Lane
from solespan.api.services.accounts.identity import Identity
from solespan.api.services.accounts.people import tidy_email
from solespan.api.services.accounts.security_log import note_after
from solespan.api.services.accounts.sign_in import SignInRefused, begin_try, confirm_password
from solespan.api.storage.accounts import accounts, credentials, factors, passkeys
from solespan.api.storage.session import Database
from solespan.api.storage.tables.accounts import SECOND_FACTOR

__all__ = [
    "Enrolment",
    "begin_enrolment",
    "confirm_enrolment",
    "enrolment_of",
    "first_codes",
    "has_factor",
    "members_with_factor",
    "new_codes",
    "overview",
    "person_of",
    "policy_of",
    "put_policy",
    "remove_factor",
    "reset_factor",
    "reset_members_factor",
]

ENROL_WITHIN = timedelta(minutes=10)
MOST_FACTORS = 5
RECOVERY_CODES = 10
RECOVERY_BYTES = 15  # 120 bits: a plain hash of them suffices (ASVS 5.0, 6.5.2)
ENROL = "enrol"


@dataclass(frozen=True)
class Enrolment:
    """An authenticator in the making: its seed, and the secret that the next step must show."""

    secret: str
    seed: str


def overview(session: Session, user_pk: int) -> dict[str, Any]:
    """Return a person's authenticators, passkeys, and how many recovery codes are left.

    Neither seeds nor keys are shown. A passkey has a `factor_id`, too.
    """
    shown = ("name", "made_at", "used_at")
    kinds = {
        "factors": (factors.list_factors(session, user_pk), "factor_id"),
        "passkeys": (passkeys.list_passkeys(session, user_pk), "passkey_id"),
    }
    return {
        **{
            kind: [{"factor_id": row[key]} | {name: row[name] for name in shown} for row in rows]
            for kind, (rows, key) in kinds.items()
        },
        "codes_left": factors.recovery_codes_left(session, user_pk),
    }


def begin_enrolment(
    database: Database, who: Identity, *, password: str, now: datetime
) -> Enrolment:
    """Make a seed for a person who gives their password again.

    Raises `SignInRefused`, `TooManyTries` or `Conflict`.
    """
    person_of(who)
    person = confirm_password(database, email=who.actor, password=password, now=now)
    made = Enrolment(secrets.new_secret(), totp.new_seed())
    with database.for_tenant(database.tenant_pk).writing() as session:
        factors.sweep_steps(session, now - ENROL_WITHIN)
        if len(factors.list_factors(session, person.user_pk)) >= MOST_FACTORS:
            raise Conflict(
                f"You have {MOST_FACTORS} authenticators already.", remedy="Remove one first."
            )
        factors.begin_step(
            session,
            token_hash=secrets.hash_of(made.secret),
            user_pk=person.user_pk,
            purpose=ENROL,
            seed=made.seed,
            now=now,
        )
    return made


def enrolment_of(database: Database, who: Identity, secret: str, now: datetime) -> Enrolment:
    """Return the authenticator that a person is adding. Raises `NotFound` when that is over."""
    with database.reading() as session:
        found = factors.find_step(
            session, secrets.hash_of(secret), purpose=ENROL, begun_after=now - ENROL_WITHIN
        )
    if found is None or found["user_pk"] != who.user_pk:
        raise NotFound("This took too long, or was done already.", remedy="Begin again.")
    return Enrolment(secret, found["seed"])


def confirm_enrolment(
    database: Database, who: Identity, *, secret: str, code: str, name: str, now: datetime
) -> list[str]:
    """Keep the authenticator whose code this is; return recovery codes if there were none.

    Raises `NotFound`, `TooManyTries`, or `SignInRefused` for a wrong code.
    """
    user_pk = person_of(who)
    made = enrolment_of(database, who, secret, now)
    lane = Lane.one(f"enrol {user_pk}")
    begin_try(database, lane, now, who.log_name)
    moment = totp.moment_of(made.seed, codes.tidy_code(code), now)
    if moment is None:
        raise SignInRefused("This code is wrong.", remedy="Check the clock of your device.")
    with database.writing() as session:
        if not factors.end_step(session, secrets.hash_of(secret)):
            raise NotFound("This was done already.", remedy="Look at the list.")
        attempts.forget_tries(session, lane)
        called = name.strip()[:100] or "an authenticator"
        factor_id = factors.add_factor(
            session, user_pk=user_pk, name=called, seed=made.seed, moment=moment, now=now
        )
        note_after(session, "factor_added", factor_id=factor_id)
        credentials.end_sessions(session, user_pk, but_pk=who.session_pk)
        return first_codes(session, user_pk)


def person_of(who: Identity) -> int:
    """Return the person who asks; a program's stolen key must not weaken them. Raises `Refused`."""
    if who.user_pk is None:
        raise Refused(
            "Only a person who is signed in has a second factor.",
            remedy="Sign in on the page. A key for programs may not change it.",
        )
    return who.user_pk


def first_codes(session: Session, user_pk: int) -> list[str]:
    """Make recovery codes for a person who has none; return them, nothing for who has some."""
    if factors.recovery_codes_left(session, user_pk):
        return []
    return _put_codes(session, user_pk)


def _put_codes(session: Session, user_pk: int) -> list[str]:
    made = [
        base64.b32encode(randomness.token_bytes(RECOVERY_BYTES)).decode()
        for _ in range(RECOVERY_CODES)
    ]
    factors.put_recovery_codes(session, user_pk, [secrets.hash_of(code) for code in made])
    note_after(session, "recovery_codes_made", count=len(made))
    return ["-".join(re.findall("....", code)) for code in made]


def new_codes(database: Database, who: Identity, *, password: str, now: datetime) -> list[str]:
    """Make recovery codes in the place of the ones before. Raises as `begin_enrolment` does."""
    person_of(who)
    person = confirm_password(database, email=who.actor, password=password, now=now)
    with database.writing() as session:
        if not factors.has_factor(session, person.user_pk):
            raise Conflict("You have no second factor.", remedy="Add one first.")
        return _put_codes(session, person.user_pk)


def remove_factor(
    database: Database, who: Identity, *, password: str, factor_id: str, now: datetime
) -> None:
    """Remove an authenticator or a passkey of a person who gives their password again.

    The recovery codes go with the last one.
    Raises `SignInRefused`, `TooManyTries` or `NotFound`.
    """
    person_of(who)
    person = confirm_password(database, email=who.actor, password=password, now=now)
    with database.writing() as session:
        removed = factors.remove_factors(session, person.user_pk, factor_id)
        if not removed and not passkeys.remove_passkeys(session, person.user_pk, factor_id):
            raise NotFound("You have no such second factor.", remedy="Look at the list.")
        if not factors.has_factor(session, person.user_pk):
            factors.put_recovery_codes(session, person.user_pk, ())
        credentials.end_sessions(session, person.user_pk, but_pk=who.session_pk)
        note_after(session, "factor_removed", factor_id=factor_id)


def reset_members_factor(session: Session, tenant_pk: int, member: str) -> None:
    """Take a staff member's second factor away, so that they come in by password once more.

    Raises `NotFound`, or `Refused` for an owner and for a member of another tenant: the operator
    does that.
    """
    given = (member, tidy_email(member))
    for row in accounts.list_members(session, tenant_pk):
        if row["user_id"] == given[0] or row["email"] == given[1]:
            if row["role"] == "owner" or len(accounts.tenants_of(session, row["user_pk"])) > 1:
                raise Refused(
                    "Only the operator resets the second factor of an owner, or of a member of "
                    "several shops.",
                    remedy="Ask the operator: solespan accounts reset-factor",
                )
            _reset(session, row["user_pk"], row["user_id"])
            return
    raise NotFound("There is no such member.", where="member", remedy="Look at the list.")


def members_with_factor(session: Session, tenant_pk: int) -> list[dict[str, Any]]:
    """Return a tenant's members, and whether each has a second factor."""
    having = factors.who_has_factor(session, tenant_pk)
    members = accounts.list_members(session, tenant_pk)
    return [member | {"has_factor": member["user_pk"] in having} for member in members]


def has_factor(session: Session, user_pk: int) -> bool:
    """Return whether a person has a second factor."""
    return factors.has_factor(session, user_pk)


def policy_of(session: Session, tenant_pk: int) -> str:
    """Return of whom a tenant asks a second factor."""
    return factors.policy_of(session, tenant_pk)


def reset_factor(session: Session, email: str) -> None:
    """Take anybody's second factor away, as the operator. Raises `NotFound`."""
    person = accounts.find_person(session, tidy_email(email))
    if person is None:
        raise NotFound("There is no such person.", where="email", remedy="Look at the members.")
    _reset(session, person.user_pk, person.user_id)


def _reset(session: Session, user_pk: int, user_id: str) -> None:
    removed = factors.remove_factors(session, user_pk)
    removed += passkeys.remove_passkeys(session, user_pk)
    factors.put_recovery_codes(session, user_pk, ())
    credentials.end_sessions(session, user_pk)
    note_after(session, "factor_removed", account=user_id, count=removed)


def put_policy(session: Session, tenant_pk: int, word: str) -> None:
    """Say who of a tenant must have a second factor. Raises `Refused`."""
    if word not in SECOND_FACTOR:
        raise Refused(
            f"The second factor cannot be asked of {word!r}.",
            where="second factor",
            accepted=", ".join(SECOND_FACTOR),
        )
    factors.put_policy(session, tenant_pk, word)
    note_after(session, "factor_policy_changed", asked_of=word)
