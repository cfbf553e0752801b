"""Sign in service.

May this person come in: is it their password, and have they not guessed too often?

Failures are counted for the pair of e-mail and network address, and for the network address alone.
So a stranger's guesses slow the stranger down and never lock the owner out. After five failures
each further one doubles the wait, up to a quarter of an hour. An unknown address gets the same
answer in the same time as a wrong password.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from solespan.api.errors import Refused, SolespanError
from solespan.api.services.accounts import secrets
from solespan.api.services.accounts.people import tidy_email
from solespan.api.storage.accounts import accounts, credentials
from solespan.api.storage.session import Database

__all__ = [
    "SignInRefused",
    "TooManyTries",
    "change_password",
    "enter_tenant",
    "sign_in",
    "sign_out",
]

FREE_TRIES, FREE_TRIES_OF_ADDRESS = 5, 50
LONGEST_WAIT = timedelta(minutes=15)
FORGOTTEN_AFTER = timedelta(hours=1)


class SignInRefused(Refused):
    """Address or password is wrong; which of them is not said."""

    code = "sign-in-refused"


class TooManyTries(SolespanError):
    """The sender guessed too often; `wait_s` seconds must pass."""

    code = "too-many-tries"

    def __init__(self, wait: timedelta) -> None:
        self.wait_s = max(1, round(wait.total_seconds()))
        super().__init__(
            "Too many passwords were wrong.",
            remedy=f"Wait {self.wait_s} seconds, then try again.",
        )


def sign_in(database: Database, *, email: str, password: str, address: str, now: datetime) -> str:
    """Check a password, begin a session in the person's first tenant, and return its secret.

    Raises `TooManyTries`, or `SignInRefused` with the same words for every reason.
    """
    email = tidy_email(email)
    tried = {
        secrets.hash_of(f"{email} {address}"): FREE_TRIES,
        secrets.hash_of(address): FREE_TRIES_OF_ADDRESS,
    }
    with database.reading() as session:
        for key, free in tried.items():
            _refuse_while_waiting(credentials.tries_of(session, key), free, now)
        person = accounts.find_person(session, email)
    kept = None if person is None or person.disabled else person.password_hash
    matches = secrets.same_password(kept, password)
    with database.writing() as session:
        credentials.sweep_keys(
            session, sessions_before=now - timedelta(days=400), tries_before=now - FORGOTTEN_AFTER
        )
        mine = accounts.tenants_of(session, person.user_pk) if matches and person else []
        if mine and person:
            credentials.clear_tries(session, next(iter(tried)))
            if secrets.outdated(person.password_hash):
                accounts.set_password(session, person.user_pk, secrets.hash_password(password))
            secret = secrets.new_secret()
            credentials.add_session(
                session,
                token_hash=secrets.hash_of(secret),
                tenant_pk=mine[0]["pk"],
                user_pk=person.user_pk,
                now=now,
            )
            return secret
        for key in tried:
            credentials.count_try(session, key, now)
    raise SignInRefused(
        "The e-mail address or the password is wrong.",
        remedy="Try again, or ask an owner for a new invitation.",
    )


def _refuse_while_waiting(tries: tuple[int, datetime] | None, free: int, now: datetime) -> None:
    if tries is None or tries[0] < free:
        return
    failures, last = tries
    wait = min(timedelta(seconds=2.0 ** min(failures - free, 20)), LONGEST_WAIT)
    if now < last + wait:
        raise TooManyTries(last + wait - now)


def sign_out(database: Database, secret: str) -> None:
    """End the session; its secret opens nothing any more."""
    with database.writing() as session:
        credentials.end_session(session, secrets.hash_of(secret))


def enter_tenant(database: Database, *, user_pk: int, tenant_id: str, now: datetime) -> str:
    """Begin a session in another of the person's tenants, and return its secret.

    Raises `SignInRefused` where they are not a member.
    """
    with database.writing() as session:
        for tenant in accounts.tenants_of(session, user_pk):
            if tenant["tenant_id"] == tenant_id:
                secret = secrets.new_secret()
                credentials.add_session(
                    session,
                    token_hash=secrets.hash_of(secret),
                    tenant_pk=tenant["pk"],
                    user_pk=user_pk,
                    now=now,
                )
                return secret
    raise SignInRefused("You are no member there.", remedy="Ask an owner for an invitation.")


def change_password(
    database: Database, *, email: str, old: str, new: str, tenant_pk: int, now: datetime
) -> str:
    """Put a new password in the old one's place, end every session of the person, begin a new one.

    Who came upon a browser that was left open guesses the old one no faster than at sign-in.
    Returns the new session's secret. Raises `SignInRefused`, `TooManyTries` or `Refused`.
    """
    fault = secrets.fault_of_password(new, email=email)
    if fault:
        raise Refused(fault, where="new password", remedy="Choose another; a sentence is good.")
    tried = secrets.hash_of(f"{email} old password")
    with database.reading() as session:
        _refuse_while_waiting(credentials.tries_of(session, tried), FREE_TRIES, now)
        person = accounts.find_person(session, email)
    if person is None or not secrets.same_password(person.password_hash, old):
        with database.writing() as session:
            credentials.count_try(session, tried, now)
        raise SignInRefused("The password is wrong.", where="password")
    kept = secrets.hash_password(new)
    with database.writing() as session:
        credentials.clear_tries(session, tried)
        accounts.set_password(session, person.user_pk, kept)
        credentials.end_sessions(session, person.user_pk)
        secret = secrets.new_secret()
        credentials.add_session(
            session,
            token_hash=secrets.hash_of(secret),
            tenant_pk=tenant_pk,
            user_pk=person.user_pk,
            now=now,
        )
        return secret
