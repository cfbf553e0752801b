"""Sign in service.

May this person come in: is it their password, and did they not guess too often?

`attempts` says who must wait. An unknown address gets the same answer in the same time as a wrong
password.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from solespan.api.errors import Refused
from solespan.api.services.accounts import attempts, secrets
from solespan.api.services.accounts.attempts import Lane, TooManyTries
from solespan.api.services.accounts.people import tidy_email
from solespan.api.storage.accounts import accounts, credentials
from solespan.api.storage.accounts.attempts import is_known_device, note_device
from solespan.api.storage.session import Database

__all__ = [
    "Entered",
    "SignInRefused",
    "TooManyTries",
    "change_password",
    "enter_tenant",
    "sign_in",
    "sign_out",
]

SESSION_KEPT = timedelta(days=400)


class SignInRefused(Refused):
    """Address or password is wrong; which of them is not said."""

    code = "sign-in-refused"


@dataclass(frozen=True)
class Entered:
    """What a browser keeps that was let in: its session's secret and its device's."""

    session: str
    device: str


def sign_in(
    database: Database, *, email: str, password: str, address: str, now: datetime, device: str = ""
) -> Entered:
    """Check a password, begin a session in the person's first tenant, and return its secret.

    `device` is the secret that a browser was given at an earlier sign-in. Raises `TooManyTries`, or
    `SignInRefused` with the same words for every reason.
    """
    email = tidy_email(email)
    device_hash = secrets.hash_of(device)
    with database.reading() as session:
        person = accounts.find_person(session, email)
        known = bool(device) and is_known_device(session, device_hash, email)
        kept_device = known or (bool(device) and is_known_device(session, device_hash))
    lane = Lane.of(email, address, device_hash if known else None)
    kept = None if person is None or person.disabled else person.password_hash
    with secrets.turn(stranger=not known) as is_my_turn:
        if not is_my_turn:
            raise TooManyTries(timedelta(seconds=1), "Too many people sign in at this moment.")
        attempts.begin_try(database, lane, now)
        matches = secrets.same_password(kept, password)
        renewed = secrets.hash_password(password) if matches and secrets.outdated(kept) else None
    with database.writing() as session:
        credentials.sweep_sessions(session, now - SESSION_KEPT)
        attempts.sweep(session, now)
        mine = accounts.tenants_of(session, person.user_pk) if matches and person else []
        if mine and person:
            attempts.forget_tries(session, lane)
            if renewed:
                accounts.set_password(session, person.user_pk, renewed)
            entered = Entered(secrets.new_secret(), device if kept_device else secrets.new_secret())
            note_device(session, secrets.hash_of(entered.device), person.user_pk, now)
            credentials.add_session(
                session,
                token_hash=secrets.hash_of(entered.session),
                tenant_pk=mine[0]["pk"],
                user_pk=person.user_pk,
                now=now,
            )
            return entered
    raise SignInRefused(
        "The e-mail address or the password is wrong.",
        remedy="Try again, or ask an owner for a new invitation.",
    )


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
    with database.reading() as session:
        person = accounts.find_person(session, email)
    lane = Lane.one(f"{email} old password")
    with secrets.turn():
        attempts.begin_try(database, lane, now)
        if person is None or not secrets.same_password(person.password_hash, old):
            raise SignInRefused("The password is wrong.", where="password")
        kept = secrets.hash_password(new)
    with database.writing() as session:
        attempts.forget_tries(session, lane)
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
