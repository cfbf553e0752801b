"""Tables of accounts.

Who may come in, as whom, and what was done: tenants, people, sessions, tokens, links, audit.

All but the audit log stand outside the tenants: they are what a tenant is found by. Secrets are
kept as hashes only (SHA-256 of at least 256 random bits; passwords as argon2id).
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import (
    JSON,
    Boolean,
    CheckConstraint,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    String,
    UniqueConstraint,
    text,
)
from sqlalchemy.orm import Mapped, mapped_column

from solespan.api.storage.tables.keys import row_of
from solespan.api.storage.tables.rack import (
    WORD_LENGTH,
    Base,
    Root,
    _utc_now,
)
from solespan.api.storage.tables.results import _in, _public_id
from solespan.api.storage.tables.types import BigId, UtcDateTime
from solespan.forecast.values import ID_LENGTH, TEXT_LENGTH

__all__ = [
    "KINDS",
    "ROLES",
    "SECOND_FACTOR",
    "ApiToken",
    "AuditEntry",
    "BrowserSession",
    "ConnectionCode",
    "HomeDevice",
    "Invitation",
    "KnownDevice",
    "Membership",
    "Passkey",
    "PasskeyChallenge",
    "PersonalLink",
    "RecoveryCode",
    "SecondFactor",
    "SignInStep",
    "SignInTry",
    "Tenant",
    "User",
]

KINDS = ("rack", "shop")
ROLES = ("owner", "staff")
SECOND_FACTOR = ("nobody", "owners", "everyone")
STEPS = ("sign_in", "enrol")
HASH_LENGTH = 64


class Tenant(Root):
    """One shop with its customers, or one collector's rack: nothing is shared between two."""

    __tablename__ = "tenants"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    tenant_id: Mapped[str] = mapped_column(String(ID_LENGTH), unique=True)
    name: Mapped[str] = mapped_column(String(TEXT_LENGTH))
    kind: Mapped[str] = mapped_column(String(WORD_LENGTH))
    made_at: Mapped[datetime] = mapped_column(UtcDateTime, default=_utc_now)
    # Of whom a second factor is asked at sign-in.
    second_factor: Mapped[str] = mapped_column(
        String(WORD_LENGTH), default="nobody", server_default=text("'nobody'")
    )

    __table_args__ = (_in("kind", KINDS), _in("second_factor", SECOND_FACTOR))


class User(Root):
    """A person who signs in. The e-mail address is kept in small letters."""

    __tablename__ = "users"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    user_id: Mapped[str] = mapped_column(String(ID_LENGTH), unique=True, default=_public_id)
    email: Mapped[str] = mapped_column(String(ID_LENGTH), unique=True)
    name: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))
    password_hash: Mapped[str] = mapped_column(String(TEXT_LENGTH))
    made_at: Mapped[datetime] = mapped_column(UtcDateTime, default=_utc_now)
    disabled_at: Mapped[datetime | None] = mapped_column(UtcDateTime)


class Membership(Root):
    """What a person may do in a tenant."""

    __tablename__ = "memberships"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    user_pk: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"))
    tenant_pk: Mapped[int] = mapped_column(ForeignKey("tenants.id", ondelete="CASCADE"))
    role: Mapped[str] = mapped_column(String(WORD_LENGTH))

    __table_args__ = (
        _in("role", ROLES),
        UniqueConstraint("user_pk", "tenant_pk"),
        # A tenant's members are listed together.
        Index(None, "tenant_pk"),
    )


class PersonalLink(Root):
    """A customer's way to their own pairs, without a password; revoked when a new one is made."""

    __tablename__ = "personal_links"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    tenant_pk: Mapped[int] = mapped_column(ForeignKey("tenants.id", ondelete="CASCADE"))
    wearer_pk: Mapped[int] = row_of("wearers", unique=True)
    secret_hash: Mapped[str] = mapped_column(String(HASH_LENGTH), unique=True)
    made_at: Mapped[datetime] = mapped_column(UtcDateTime, default=_utc_now)
    used_at: Mapped[datetime | None] = mapped_column(UtcDateTime)

    __table_args__ = (UniqueConstraint("tenant_pk", "id"),)


class BrowserSession(Root):
    """One browser that came in: a member's (`user_pk`) or a customer's (`link_pk`)."""

    __tablename__ = "browser_sessions"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    session_id: Mapped[str] = mapped_column(String(ID_LENGTH), unique=True, default=_public_id)
    token_hash: Mapped[str] = mapped_column(String(HASH_LENGTH), unique=True)
    # Browser and system in words, for the person's own list.
    device: Mapped[str] = mapped_column(String(ID_LENGTH))
    user_pk: Mapped[int | None] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"))
    link_pk: Mapped[int | None] = row_of("personal_links")
    tenant_pk: Mapped[int] = mapped_column(ForeignKey("tenants.id", ondelete="CASCADE"))
    begun_at: Mapped[datetime] = mapped_column(UtcDateTime)
    used_at: Mapped[datetime] = mapped_column(UtcDateTime)

    __table_args__ = (
        CheckConstraint("(user_pk IS NULL) <> (link_pk IS NULL)", name="one_person"),
        # All sessions of a person end together; old ones are swept by age.
        Index(None, "user_pk"),
        Index(None, "link_pk", "tenant_pk"),
        Index(None, "tenant_pk"),
        Index(None, "used_at"),
    )


class ApiToken(Root):
    """A program's key to a tenant: shown once, scoped, revocable."""

    __tablename__ = "api_tokens"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    token_id: Mapped[str] = mapped_column(String(ID_LENGTH), unique=True, default=_public_id)
    tenant_pk: Mapped[int] = mapped_column(ForeignKey("tenants.id", ondelete="CASCADE"))
    user_pk: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"))
    name: Mapped[str] = mapped_column(String(TEXT_LENGTH))
    scopes: Mapped[list[str]] = mapped_column(JSON)
    token_hash: Mapped[str] = mapped_column(String(HASH_LENGTH), unique=True)
    made_at: Mapped[datetime] = mapped_column(UtcDateTime, default=_utc_now)
    used_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    revoked_at: Mapped[datetime | None] = mapped_column(UtcDateTime)

    __table_args__ = (Index(None, "tenant_pk"), Index(None, "user_pk"))


class Invitation(Root):
    """A way in that was given to one e-mail address, used once: to join, or to set a password."""

    __tablename__ = "invitations"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    invitation_id: Mapped[str] = mapped_column(String(ID_LENGTH), unique=True, default=_public_id)
    tenant_pk: Mapped[int] = mapped_column(ForeignKey("tenants.id", ondelete="CASCADE"))
    email: Mapped[str] = mapped_column(String(ID_LENGTH))
    # NULL = the one that the member has.
    role: Mapped[str | None] = mapped_column(String(WORD_LENGTH))
    secret_hash: Mapped[str] = mapped_column(String(HASH_LENGTH), unique=True)
    expires_at: Mapped[datetime] = mapped_column(UtcDateTime)
    # Whether somebody who belongs to another tenant as well may choose a new password with it.
    new_password: Mapped[bool] = mapped_column(Boolean)

    __table_args__ = (
        _in("role", ROLES),
        UniqueConstraint("tenant_pk", "email"),
        # Old ones are swept by age.
        Index(None, "expires_at"),
    )


class SignInTry(Root):
    """Failed sign-ins of one key: a hash of the account, network address or device they are of."""

    __tablename__ = "sign_in_tries"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    key_hash: Mapped[str] = mapped_column(String(HASH_LENGTH), unique=True)
    failures: Mapped[int] = mapped_column(Integer)
    last_at: Mapped[datetime] = mapped_column(UtcDateTime)

    __table_args__ = (
        # Old ones are swept by age.
        Index(None, "last_at"),
    )


class SecondFactor(Root):
    """An authenticator that makes codes from a seed; `moment` is that of the last code used."""

    __tablename__ = "second_factors"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    factor_id: Mapped[str] = mapped_column(String(ID_LENGTH), unique=True, default=_public_id)
    user_pk: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"))
    name: Mapped[str] = mapped_column(String(ID_LENGTH))
    seed: Mapped[str] = mapped_column(String(HASH_LENGTH))
    moment: Mapped[int] = mapped_column(Integer)
    made_at: Mapped[datetime] = mapped_column(UtcDateTime)
    used_at: Mapped[datetime | None] = mapped_column(UtcDateTime)

    __table_args__ = (Index(None, "user_pk"),)


class RecoveryCode(Root):
    """A code for a person who lost their authenticator: good once, and gone then."""

    __tablename__ = "recovery_codes"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    user_pk: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"))
    code_hash: Mapped[str] = mapped_column(String(HASH_LENGTH))

    __table_args__ = (UniqueConstraint("user_pk", "code_hash"),)


class SignInStep(Root):
    """A password that was right, and what must follow: a code, or an authenticator's first one."""

    __tablename__ = "sign_in_steps"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    token_hash: Mapped[str] = mapped_column(String(HASH_LENGTH), unique=True)
    user_pk: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"))
    purpose: Mapped[str] = mapped_column(String(WORD_LENGTH))
    seed: Mapped[str] = mapped_column(String(HASH_LENGTH))
    begun_at: Mapped[datetime] = mapped_column(UtcDateTime)

    __table_args__ = (
        _in("purpose", STEPS),
        Index(None, "user_pk"),
        # Old ones are swept by age.
        Index(None, "begun_at"),
    )


class Passkey(Root):
    """A public key whose other half a person's device keeps, and how often the device signed."""

    __tablename__ = "passkeys"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    passkey_id: Mapped[str] = mapped_column(String(ID_LENGTH), unique=True, default=_public_id)
    user_pk: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"))
    name: Mapped[str] = mapped_column(String(ID_LENGTH))
    # The device's name for the key, as browsers write it (base64url).
    credential_id: Mapped[str] = mapped_column(String(TEXT_LENGTH), unique=True)
    public_key: Mapped[bytes] = mapped_column(LargeBinary)
    sign_count: Mapped[int] = mapped_column(BigId)
    made_at: Mapped[datetime] = mapped_column(UtcDateTime)
    used_at: Mapped[datetime | None] = mapped_column(UtcDateTime)

    __table_args__ = (Index(None, "user_pk"),)


class PasskeyChallenge(Root):
    """What a passkey must sign next: for one purpose of one browser, once, for a few minutes."""

    __tablename__ = "passkey_challenges"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    challenge_hash: Mapped[str] = mapped_column(String(HASH_LENGTH), unique=True)
    holder_hash: Mapped[str] = mapped_column(String(HASH_LENGTH))
    begun_at: Mapped[datetime] = mapped_column(UtcDateTime)

    __table_args__ = (
        # Old ones are swept by age.
        Index(None, "begun_at"),
    )


class KnownDevice(Root):
    """A browser that a person signed in with before: strangers' guesses do not slow it down."""

    __tablename__ = "known_devices"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    device_hash: Mapped[str] = mapped_column(String(HASH_LENGTH))
    user_pk: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"))
    seen_at: Mapped[datetime] = mapped_column(UtcDateTime)

    __table_args__ = (
        UniqueConstraint("device_hash", "user_pk"),
        Index(None, "user_pk"),
        # Old ones are swept by age.
        Index(None, "seen_at"),
    )


class HomeDevice(Root):
    """A device of a household that came in by a code of this machine; its key ends with its row."""

    __tablename__ = "home_devices"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    device_id: Mapped[str] = mapped_column(String(ID_LENGTH), unique=True, default=_public_id)
    token_hash: Mapped[str] = mapped_column(String(HASH_LENGTH), unique=True)
    name: Mapped[str] = mapped_column(String(ID_LENGTH))
    tenant_pk: Mapped[int] = mapped_column(ForeignKey("tenants.id", ondelete="CASCADE"))
    made_at: Mapped[datetime] = mapped_column(UtcDateTime)
    used_at: Mapped[datetime] = mapped_column(UtcDateTime)

    __table_args__ = (
        Index(None, "tenant_pk"),
        # Old ones are swept by age.
        Index(None, "used_at"),
    )


class ConnectionCode(Root):
    """A code that lets one device in, once and within minutes."""

    __tablename__ = "connection_codes"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    code_hash: Mapped[str] = mapped_column(String(HASH_LENGTH), unique=True)
    tenant_pk: Mapped[int] = mapped_column(ForeignKey("tenants.id", ondelete="CASCADE"))
    expires_at: Mapped[datetime] = mapped_column(UtcDateTime)

    __table_args__ = (
        Index(None, "tenant_pk"),
        # Old ones are swept by age.
        Index(None, "expires_at"),
    )


class AuditEntry(Base):
    """One change: when, by whom, what, in the transaction of the change itself."""

    __tablename__ = "audit_entries"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    at: Mapped[datetime] = mapped_column(UtcDateTime, default=_utc_now)
    actor: Mapped[str] = mapped_column(String(ID_LENGTH))
    action: Mapped[str] = mapped_column(String(ID_LENGTH))
    subject: Mapped[dict[str, Any]] = mapped_column(JSON)

    __table_args__ = (
        # The log is read newest first, and swept by age.
        Index(None, "tenant_pk", "id"),
        Index(None, "tenant_pk", "at"),
    )
