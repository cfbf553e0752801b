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
from solespan.api.services.accounts.security_log import note, note_after
from solespan.api.storage.accounts import accounts, credentials
from solespan.api.storage.accounts.accounts import Person
from solespan.api.storage.accounts.attempts import is_known_device, note_device
from solespan.api.storage.session import Database

__all__ = [
    "Browser",
    "Entered",
    "SignInRefused",
    "TooManyTries",
    "change_password",
    "confirm_password",
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


@dataclass(frozen=True)
class Browser:
    """What sends a sign-in: its network address, the secret of a known device, what it is."""

    address: str
    device: str = ""
    words: str = ""


def sign_in(
    database: Database, *, email: str, password: str, browser: Browser, now: datetime
) -> Entered:
    """Check a password, begin a session in the person's first tenant, and return its secret.

    Raises `TooManyTries`, or `SignInRefused` with the same words for every reason.
    """
    email, device = tidy_email(email), browser.device
    device_hash = secrets.hash_of(device)
    with database.reading() as session:
        person = accounts.find_person(session, email)
        known = bool(device) and is_known_device(session, device_hash, email)
        kept_device = known or (bool(device) and is_known_device(session, device_hash))
    lane = Lane.of(email, browser.address, device_hash if known else None)
    kept = None if person is None or person.disabled else person.password_hash
    account = "unknown" if person is None else person.user_id
    with secrets.turn(stranger=not known) as is_my_turn:
        if not is_my_turn:
            raise TooManyTries(timedelta(seconds=1), "Too many people sign in at this moment.")
        begin_try(database, lane, now, account)
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
                device=browser.words,
            )
            note_after(session, "sign_in", account=account, known_device=known)
            return entered
    note("sign_in_refused", account=account)
    raise SignInRefused(
        "The e-mail address or the password is wrong.",
        remedy="Try again, or ask an owner for a new invitation.",
    )


def begin_try(database: Database, lane: Lane, now: datetime, account: str) -> None:
    """Count one try, as `attempts` does; the log says who must wait. Raises `TooManyTries`."""
    try:
        attempts.begin_try(database, lane, now)
    except TooManyTries as error:
        note("sign_in_locked", account=account, wait_s=error.wait_s)
        raise


def sign_out(database: Database, secret: str) -> None:
    """End the session; its secret opens nothing any more."""
    with database.writing() as session:
        note_after(session, "session_ended")
        credentials.end_session(session, secrets.hash_of(secret))


def enter_tenant(
    database: Database, *, user_pk: int, tenant_id: str, browser: Browser, now: datetime
) -> str:
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
                    device=browser.words,
                )
                note_after(session, "tenant_entered", entered=tenant["pk"])
                return secret
    raise SignInRefused("You are no member there.", remedy="Ask an owner for an invitation.")


def change_password(
    database: Database,
    *,
    email: str,
    old: str,
    new: str,
    tenant_pk: int,
    browser: Browser,
    now: datetime,
    end_tokens: bool = False,
) -> str:
    """Put a new password in the old one's place, end every session of the person, begin a new one.

    With `end_tokens` the person's keys for programs end as well, in every tenant. Who came upon a
    browser that was left open guesses the old one no faster than at sign-in. Returns the new
    session's secret. Raises `SignInRefused`, `TooManyTries` or `Refused`.
    """
    fault = secrets.fault_of_password(new, email=email)
    if fault:
        raise Refused(fault, where="new password", remedy="Choose another; a sentence is good.")
    person = confirm_password(database, email=email, password=old, now=now)
    with secrets.turn():
        kept = secrets.hash_password(new)
    with database.writing() as session:
        accounts.set_password(session, person.user_pk, kept)
        ended = credentials.end_sessions(session, person.user_pk)
        tokens = credentials.end_tokens_of(session, person.user_pk, now) if end_tokens else 0
        note_after(session, "password_changed", account=person.user_id)
        note_after(session, "sessions_ended", account=person.user_id, count=ended)
        if tokens:
            note_after(session, "tokens_revoked", account=person.user_id, count=tokens)
        secret = secrets.new_secret()
        credentials.add_session(
            session,
            token_hash=secrets.hash_of(secret),
            tenant_pk=tenant_pk,
            user_pk=person.user_pk,
            now=now,
            device=browser.words,
        )
        return secret


def confirm_password(database: Database, *, email: str, password: str, now: datetime) -> Person:
    """Return the person who is signed in already, if this is their password.

    Raises `SignInRefused` or `TooManyTries`.
    """
    with database.reading() as session:
        person = accounts.find_person(session, email)
    account = "unknown" if person is None else person.user_id
    lane = Lane.one(f"{email} old password")
    with secrets.turn():
        begin_try(database, lane, now, account)
        right = person is not None and secrets.same_password(person.password_hash, password)
    if person is None or not right:
        note("password_refused", account=account)
        raise SignInRefused("The password is wrong.", where="password")
    with database.writing() as session:
        attempts.forget_tries(session, lane)
    return person
