"""Sign in service.

May this person come in: is it their password, and did they not guess too often?

`attempts` says who must wait. An unknown address gets the same answer in the same time as a wrong
password.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.errors import Refused
from solespan.api.services.accounts import attempts, codes, secrets
from solespan.api.services.accounts.attempts import Lane, TooManyTries
from solespan.api.services.accounts.people import tidy_email
from solespan.api.services.accounts.security_log import note, note_after
from solespan.api.storage.accounts import accounts, credentials, factors
from solespan.api.storage.accounts.accounts import Person
from solespan.api.storage.accounts.attempts import is_known_device, note_device
from solespan.api.storage.session import Database

__all__ = [
    "CODE_WITHIN",
    "Browser",
    "CodeNeeded",
    "Entered",
    "SignInRefused",
    "StepOver",
    "TooManyTries",
    "change_password",
    "code_is_due",
    "confirm_password",
    "enter",
    "enter_tenant",
    "finish_sign_in",
    "person_of_step",
    "sign_in",
    "sign_out",
]

SESSION_KEPT = timedelta(days=400)
CODE_WITHIN = timedelta(minutes=5)
STEP_KEPT = timedelta(minutes=10)  # as long as adding an authenticator may take
SIGN_IN = "sign_in"


class SignInRefused(Refused):
    """Address or password is wrong; which of them is not said."""

    code = "sign-in-refused"


class StepOver(SignInRefused):
    """The password was given too long ago, or in another browser."""


@dataclass(frozen=True)
class Entered:
    """What a browser keeps that was let in: its session's secret and its device's."""

    session: str
    device: str


@dataclass(frozen=True)
class CodeNeeded:
    """What a browser keeps whose password was right, until it sends a code: a secret."""

    step: str


@dataclass(frozen=True)
class Browser:
    """What sends a sign-in: its network address, the secret of a known device, what it is."""

    address: str
    device: str = ""
    words: str = ""


def sign_in(
    database: Database, *, email: str, password: str, browser: Browser, now: datetime
) -> Entered | CodeNeeded:
    """Check a password, begin a session in the person's first tenant, and return its secret.

    A person with a second factor comes in with its code: see `finish_sign_in`. Raises
    `TooManyTries`, or `SignInRefused` with the same words for every reason.
    """
    email = tidy_email(email)
    with database.reading() as session:
        person = accounts.find_person(session, email)
        known = _known_device(session, browser, email)
    lane = Lane.of(email, browser.address, known)
    kept = None if person is None or person.disabled else person.password_hash
    account = "unknown" if person is None else person.user_id
    with secrets.turn(stranger=known is None) as is_my_turn:
        if not is_my_turn:
            raise TooManyTries(timedelta(seconds=1), "Too many people sign in at this moment.")
        begin_try(database, lane, now, account)
        matches = secrets.same_password(kept, password)
        renewed = secrets.hash_password(password) if matches and secrets.outdated(kept) else None
    if matches and person is not None:
        with database.writing() as session:
            credentials.sweep_sessions(session, now - SESSION_KEPT)
            attempts.sweep(session, now)
            attempts.forget_tries(session, lane)
            if renewed:
                accounts.set_password(session, person.user_pk, renewed)
            mine = accounts.tenants_of(session, person.user_pk)
            if mine and factors.has_factor(session, person.user_pk):
                return _ask_for_code(session, person, now)
            if mine:
                return enter(session, person, mine[0]["pk"], browser, now, factor="none")
    note("sign_in_refused", account=account)
    raise SignInRefused(
        "The e-mail address or the password is wrong.",
        remedy="Try again, or ask an owner for a new invitation.",
    )


def _known_device(session: Session, browser: Browser, email: str) -> str | None:
    device_hash = secrets.hash_of(browser.device)
    known = browser.device and is_known_device(session, device_hash, email)
    return device_hash if known else None


def enter(
    session: Session,
    person: Person,
    tenant_pk: int,
    browser: Browser,
    now: datetime,
    *,
    factor: str,
) -> Entered:
    """Begin a session of a person who showed all that is asked; `factor` is the second one."""
    known = _known_device(session, browser, person.email) is not None
    kept = known or is_known_device(session, secrets.hash_of(browser.device))
    entered = Entered(secrets.new_secret(), browser.device if kept else secrets.new_secret())
    note_device(session, secrets.hash_of(entered.device), person.user_pk, now)
    credentials.add_session(
        session,
        token_hash=secrets.hash_of(entered.session),
        tenant_pk=tenant_pk,
        user_pk=person.user_pk,
        now=now,
        device=browser.words,
    )
    note_after(session, "sign_in", account=person.user_id, known_device=known, second_factor=factor)
    return entered


def _ask_for_code(session: Session, person: Person, now: datetime) -> CodeNeeded:
    asked = CodeNeeded(secrets.new_secret())
    factors.sweep_steps(session, now - STEP_KEPT)
    factors.begin_step(
        session,
        token_hash=secrets.hash_of(asked.step),
        user_pk=person.user_pk,
        purpose=SIGN_IN,
        seed="",
        now=now,
    )
    note_after(session, "code_asked", account=person.user_id)
    return asked


def code_is_due(database: Database, step: str, now: datetime) -> bool:
    """Return whether a browser gave its password lately, and a code must follow."""
    with database.reading() as session:
        return _step(session, step, now) is not None


def _step(session: Session, step: str, now: datetime) -> dict[str, Any] | None:
    since = now - CODE_WITHIN
    return factors.find_step(session, secrets.hash_of(step), purpose=SIGN_IN, begun_after=since)


def person_of_step(database: Database, step: str, now: datetime) -> Person:
    """Return who gave their password lately in this browser. Raises `StepOver`."""
    with database.reading() as session:
        found = _step(session, step, now)
        person = accounts.find_person_by_pk(session, found["user_pk"]) if found else None
    if person is None or person.disabled:
        raise StepOver("This took too long, or was done already.", remedy="Sign in again.")
    return person


def finish_sign_in(
    database: Database, *, step: str, code: str, browser: Browser, now: datetime
) -> Entered:
    """Check the code that follows a password, and begin the session.

    Raises `StepOver` where no password was given lately, `TooManyTries` or `SignInRefused`.
    """
    person = person_of_step(database, step, now)
    with database.reading() as session:
        known = _known_device(session, browser, person.email)
    lane = Lane.of_code(person.email, known)
    begin_try(database, lane, now, person.user_id)
    with database.writing() as session:
        used = codes.use_code(session, person.user_pk, code, now)
        mine = accounts.tenants_of(session, person.user_pk)
        if used and mine and factors.end_step(session, secrets.hash_of(step)):
            attempts.forget_tries(session, lane)
            return enter(session, person, mine[0]["pk"], browser, now, factor=used)
    note("code_refused", account=person.user_id)
    raise SignInRefused(
        "This code is wrong, or was used before.", remedy="Wait for the next one, then try again."
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
    with database.for_tenant(database.tenant_pk).writing() as session:
        attempts.forget_tries(session, lane)
    return person
