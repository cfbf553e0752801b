"""Passkey sign in service: may this browser come in by a passkey, after a password or without?

After a password any passkey of the person is the second factor. Alone it is the whole sign-in: the
device must have checked who uses it, by a finger, a face or a PIN.
"""

from __future__ import annotations

from datetime import datetime

from solespan.api.services.accounts import secrets
from solespan.api.services.accounts.passkeys import (
    PasskeyRefused,
    Signature,
    Site,
    ask_for_signature,
    check_signature,
)
from solespan.api.services.accounts.security_log import note
from solespan.api.services.accounts.sign_in import Browser, Entered, enter, person_of_step
from solespan.api.storage.accounts import accounts, factors, passkeys
from solespan.api.storage.accounts.accounts import Person
from solespan.api.storage.session import Database

__all__ = ["ask", "enter_with_passkey", "finish_with_passkey"]


def ask(
    database: Database, site: Site, *, step: str | None, browser_secret: str, now: datetime
) -> str:
    """Return what a browser needs to let a passkey sign; `step` follows a password.

    Raises `StepOver`.
    """
    person_pk = None if step is None else person_of_step(database, step, now).user_pk
    holder = _holder(step, browser_secret)
    return ask_for_signature(database, site, holder, user_pk=person_pk, now=now)


def _holder(step: str | None, browser_secret: str) -> str:
    return f"signs in {browser_secret}" if step is None else f"follows a password {step}"


def finish_with_passkey(
    database: Database, site: Site, *, step: str, answer: str, browser: Browser, now: datetime
) -> Entered:
    """Check the passkey that follows a password, and begin the session.

    Raises `StepOver` where no password was given lately, or `PasskeyRefused`.
    """
    person = person_of_step(database, step, now)
    signed = check_signature(database, site, _holder(step, ""), answer=answer, now=now)
    if signed.passkey["user_pk"] != person.user_pk:
        raise _refused(person, "another person's passkey")
    return _enter(database, person, signed, browser, now, step=step)


def enter_with_passkey(
    database: Database,
    site: Site,
    *,
    browser_secret: str,
    answer: str,
    browser: Browser,
    now: datetime,
) -> Entered:
    """Check a passkey without a password, and begin the session of its person.

    Raises `PasskeyRefused`.
    """
    holder = _holder(None, browser_secret)
    signed = check_signature(database, site, holder, answer=answer, now=now)
    with database.reading() as session:
        person = accounts.find_person_by_pk(session, signed.passkey["user_pk"])
    if person is None or person.disabled or signed.user_id != person.user_id:
        raise _refused(person, "another person's passkey")
    if not signed.user_verified:
        raise _refused(
            person,
            "device did not look who",
            "Your device did not check who uses it.",
            "Sign in by password; the passkey is then the second factor.",
        )
    return _enter(database, person, signed, browser, now, step=None)


def _enter(
    database: Database,
    person: Person,
    signed: Signature,
    browser: Browser,
    now: datetime,
    *,
    step: str | None,
) -> Entered:
    """Begin the session, if the count rose; in one transaction, for senders at the same moment."""
    with database.writing() as session:
        rose = passkeys.use_passkey(session, signed.passkey["id"], signed.sign_count, now)
        mine = accounts.tenants_of(session, person.user_pk)
        if rose and mine and (step is None or factors.end_step(session, secrets.hash_of(step))):
            word = "passkey alone" if step is None else "passkey"
            return enter(session, person, mine[0]["pk"], browser, now, factor=word)
    if rose:
        raise _refused(person, "no member, or done already")
    raise _refused(
        person,
        "count did not rise",
        "This passkey may have been copied: it counts its signatures, and the count did not rise.",
        "Sign in by password and code, then remove this passkey.",
    )


def _refused(
    person: Person | None,
    why: str,
    what: str = "This passkey was not taken.",
    remedy: str = "Try again, or sign in by password and code.",
) -> PasskeyRefused:
    note("passkey_refused", why=why, account="unknown" if person is None else person.user_id)
    return PasskeyRefused(what, remedy=remedy)
