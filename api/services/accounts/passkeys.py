"""Passkey service (WebAuthn): how does a person add a passkey, and is this a signature by it?

A passkey signs a challenge of ours. A challenge is good once, within five minutes, for one purpose
of one browser, on any server. The signature also covers the address of the page and the host name,
which must be those of `public_address`.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import ip_address
from secrets import token_bytes
from typing import Any
from urllib.parse import urlsplit

import webauthn
from webauthn.helpers import base64url_to_bytes, bytes_to_base64url, parse_client_data_json
from webauthn.helpers.structs import (
    AuthenticatorSelectionCriteria,
    PublicKeyCredentialDescriptor,
    ResidentKeyRequirement,
    UserVerificationRequirement,
)

from solespan.api.errors import Conflict, Refused
from solespan.api.services.accounts import secrets
from solespan.api.services.accounts.identity import Identity
from solespan.api.services.accounts.second_factor import first_codes, person_of
from solespan.api.services.accounts.security_log import note, note_after
from solespan.api.services.accounts.sign_in import SignInRefused, confirm_password
from solespan.api.settings import Settings
from solespan.api.storage.accounts import credentials, passkeys
from solespan.api.storage.session import Database

__all__ = [
    "CHALLENGE_WITHIN",
    "PasskeyRefused",
    "Signature",
    "Site",
    "add_passkey",
    "ask_for_signature",
    "begin_passkey",
    "check_signature",
    "needed_site",
    "site_of",
]

CHALLENGE_WITHIN = timedelta(minutes=5)
CHALLENGE_BYTES = 32
MOST_PASSKEYS = 10
MOST_ID_BYTES = 1023  # Web Authentication Level 3, 7.1
NAME_LENGTH = 100


class PasskeyRefused(SignInRefused):
    """What a device sent is no signature that was asked for."""


@dataclass(frozen=True)
class Site:
    """The address that passkeys belong to: `rp_id` is its host name."""

    rp_id: str
    origin: str


@dataclass(frozen=True)
class Signature:
    """A signature that is right: the passkey's row, its count, and whether the device knew whom."""

    passkey: Mapping[str, Any]
    sign_count: int
    user_verified: bool
    user_id: str


@dataclass(frozen=True)
class _Given:
    """What an answer of a device names: nothing of it is believed yet."""

    challenge: bytes
    credential_id: str
    user_id: str


def site_of(settings: Settings) -> Site | None:
    """Return the address that passkeys belong to; None where no host name is set."""
    parts = urlsplit(settings.public_address or "")
    host = parts.hostname or ""
    if not host or _is_number(host):
        return None
    usual = {"https": 443, "http": 80}[parts.scheme]
    port = "" if parts.port in (None, usual) else f":{parts.port}"
    return Site(host, f"{parts.scheme}://{host}{port}")


def needed_site(settings: Settings) -> Site:
    """Return the address that passkeys belong to. Raises `Refused` where no host name is set."""
    site = site_of(settings)
    if site is None:
        raise Refused(
            "Passkeys need the host name of this service.",
            remedy="The operator sets SOLESPAN_PUBLIC_ADDRESS.",
        )
    return site


def _is_number(host: str) -> bool:
    try:
        ip_address(host)
    except ValueError:
        return False
    return True


def begin_passkey(
    database: Database, who: Identity, site: Site, *, password: str, now: datetime
) -> str:
    """Return what a browser needs to make a passkey, for a person who gives their password again.

    Raises `SignInRefused`, `TooManyTries` or `Conflict`.
    """
    person_of(who)
    person = confirm_password(database, email=who.actor, password=password, now=now)
    with database.reading() as session:
        known = passkeys.list_passkeys(session, person.user_pk)
    if len(known) >= MOST_PASSKEYS:
        raise Conflict(f"You have {MOST_PASSKEYS} passkeys already.", remedy="Remove one first.")
    options = webauthn.generate_registration_options(
        rp_id=site.rp_id,
        rp_name="solespan",
        user_id=person.user_id.encode(),
        user_name=person.email,
        challenge=_new_challenge(database, _adder(who), now),
        authenticator_selection=AuthenticatorSelectionCriteria(
            resident_key=ResidentKeyRequirement.PREFERRED,
            user_verification=UserVerificationRequirement.PREFERRED,
        ),
        exclude_credentials=_named(known),
    )
    return webauthn.options_to_json(options)


def _adder(who: Identity) -> str:
    return f"adds {who.user_pk} in session {who.session_pk}"


def _named(known: list[dict[str, Any]]) -> list[PublicKeyCredentialDescriptor]:
    ids = (base64url_to_bytes(row["credential_id"]) for row in known)
    return [PublicKeyCredentialDescriptor(id=one) for one in ids]


def add_passkey(
    database: Database, who: Identity, site: Site, *, answer: str, name: str, now: datetime
) -> list[str]:
    """Keep the passkey that a device made; return recovery codes if there were none.

    Raises `PasskeyRefused` or `Conflict`.
    """
    given = _take_challenge(database, _adder(who), answer, now)
    try:
        made = webauthn.verify_registration_response(
            credential=answer,
            expected_challenge=given.challenge,
            expected_rp_id=site.rp_id,
            expected_origin=site.origin,
        )
    except Exception as cause:
        raise _refused("no new passkey") from cause
    if len(made.credential_id) > MOST_ID_BYTES:
        raise _refused("id too long")
    user_pk = who.user_pk or 0
    with database.writing() as session:
        passkey_id = passkeys.add_passkey(
            session,
            {
                "user_pk": user_pk,
                "name": name.strip()[:NAME_LENGTH] or "a passkey",
                "credential_id": bytes_to_base64url(made.credential_id),
                "public_key": made.credential_public_key,
                "sign_count": made.sign_count,
                "made_at": now,
            },
        )
        if passkey_id is None:
            raise Conflict("This passkey was added already.", remedy="Look at the list.")
        note_after(session, "factor_added", passkey_id=passkey_id)
        credentials.end_sessions(session, user_pk, but_pk=who.session_pk)
        return first_codes(session, user_pk)


def ask_for_signature(
    database: Database, site: Site, holder: str, *, user_pk: int | None, now: datetime
) -> str:
    """Return what a browser needs to let a passkey sign; without a person any of this site's may.

    The device must know its user then, as no password is asked.
    """
    known: list[dict[str, Any]] = []
    if user_pk is not None:
        with database.reading() as session:
            known = passkeys.list_passkeys(session, user_pk)
    options = webauthn.generate_authentication_options(
        rp_id=site.rp_id,
        challenge=_new_challenge(database, holder, now),
        allow_credentials=_named(known),
        user_verification=(
            UserVerificationRequirement.REQUIRED
            if user_pk is None
            else UserVerificationRequirement.PREFERRED
        ),
    )
    return webauthn.options_to_json(options)


def check_signature(
    database: Database, site: Site, holder: str, *, answer: str, now: datetime
) -> Signature:
    """Check what a device signed. The caller looks at the person and the count.

    Raises `PasskeyRefused`.
    """
    given = _take_challenge(database, holder, answer, now)
    with database.reading() as session:
        passkey = passkeys.find_passkey(session, given.credential_id)
    if passkey is None:
        raise _refused("unknown passkey")
    try:
        seen = webauthn.verify_authentication_response(
            credential=answer,
            expected_challenge=given.challenge,
            expected_rp_id=site.rp_id,
            expected_origin=site.origin,
            credential_public_key=passkey["public_key"],
            credential_current_sign_count=0,  # `use_passkey` looks, on whichever server comes first
        )
    except Exception as cause:
        raise _refused("no right signature") from cause
    return Signature(passkey, seen.new_sign_count, seen.user_verified, given.user_id)


def _new_challenge(database: Database, holder: str, now: datetime) -> bytes:
    made = token_bytes(CHALLENGE_BYTES)
    # A question is no change that anybody signs.
    with database.for_tenant(database.tenant_pk).writing() as session:
        passkeys.add_challenge(
            session,
            challenge_hash=secrets.hash_of(made.hex()),
            holder_hash=secrets.hash_of(holder),
            now=now,
            keep_since=now - CHALLENGE_WITHIN,
        )
    return made


def _take_challenge(database: Database, holder: str, answer: str, now: datetime) -> _Given:
    """Use up the challenge that an answer names, whatever the answer is worth."""
    try:
        given = _given_in(answer)
    except Exception as cause:  # a text that a stranger made up
        raise _refused("no answer of a device") from cause
    with database.for_tenant(database.tenant_pk).writing() as session:
        taken = passkeys.take_challenge(
            session,
            challenge_hash=secrets.hash_of(given.challenge.hex()),
            holder_hash=secrets.hash_of(holder),
            begun_after=now - CHALLENGE_WITHIN,
        )
    if not taken:
        raise _refused("challenge is over")
    return given


def _given_in(answer: str) -> _Given:
    """Read what an answer names. Raises whatever a text does that a stranger made up."""
    given = json.loads(answer)
    signed = base64url_to_bytes(given["response"]["clientDataJSON"])
    handle = given["response"].get("userHandle") or ""
    return _Given(
        parse_client_data_json(signed).challenge,
        bytes_to_base64url(base64url_to_bytes(given["id"])),
        base64url_to_bytes(handle).decode(),
    )


def _refused(why: str) -> PasskeyRefused:
    note("passkey_refused", why=why)
    return PasskeyRefused(
        "This passkey was not taken.", remedy="Try again, or sign in by password and code."
    )
