"""Page service: what does the page of members and keys show, and what does each of its forms do?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.schemas.forms import Typed
from solespan.api.services.accounts import people, second_factor, sessions, tokens
from solespan.api.services.accounts.identity import SCOPES, Identity
from solespan.api.services.context import AppContext
from solespan.api.storage.accounts.accounts import list_invitations
from solespan.api.storage.accounts.credentials import list_tokens
from solespan.api.storage.audit import list_audit
from solespan.api.storage.rack.records import list_records

__all__ = ["do_form", "people_page", "subject_of"]

SHOWN_CHANGES = 30
SHOWN_CUSTOMERS = 1000
SCOPE_WORDS = {
    "read": "read",
    "write": "write the log",
    "notices": "send notices",
    "manage": "manage members and keys",
}


def people_page(ctx: AppContext, session: Session) -> dict[str, Any]:
    """Return members, open invitations, keys, customers and the last changes of a tenant."""
    tenant_pk = ctx.database.tenant_pk
    wearers = list_records(session, "wearers", equal={}, limit=SHOWN_CUSTOMERS)
    return {
        "accounts": ctx.settings.accounts,
        "members": second_factor.members_with_factor(session, tenant_pk),
        "second_factor": second_factor.policy_of(session, tenant_pk),
        "invitations": [
            row | {"until": row["expires_at"].strftime("%Y-%m-%d %H:%M")}
            for row in list_invitations(session, tenant_pk, ctx.clock.now())
        ],
        "tokens": [
            {
                "token_id": row["token_id"],
                "name": row["name"],
                "scopes": row["scopes"],
                "made": _day(row["made_at"]),
                "used": _day(row["used_at"]) or "never",
                "revoked": row["revoked_at"] is not None,
            }
            for row in list_tokens(session, tenant_pk)
        ],
        "scopes": [(scope, SCOPE_WORDS[scope]) for scope in SCOPES],
        "wearers": [(row["wearer_id"], row["name"]) for row in wearers],
        "more_wearers": len(wearers) == SHOWN_CUSTOMERS,
        "audit": [
            {
                "at": row["at"].strftime("%Y-%m-%d %H:%M"),
                "actor": row["actor"],
                "action": _words_of(row["action"], row["subject"]),
                "of": _named_in(row["subject"]),
            }
            for row in list_audit(session, after=None, limit=SHOWN_CHANGES)
        ],
    }


def _words_of(action: str, subject: Mapping[str, Any]) -> str:
    """Tell an entry's action in words: `PUT /v1/pairs/{pair_id}` is `change: pairs`."""
    method, _, path = action.partition(" ")
    if not path.startswith("/"):
        return action
    parts = [part.replace("-", " ") for part in path.removeprefix("/v1").split("/")]
    parts = [part for part in parts if part and part[0] != "{"]
    if "what" in subject:
        parts.append(str(subject["what"]))
    verb = {"PUT": ["change"], "DELETE": ["delete"], "GET": ["hand out"]}.get(method, [])
    return ": ".join([*verb, *parts])


def _named_in(subject: Mapping[str, Any]) -> str:
    return ", ".join(
        f"{name.replace('_', ' ')} {' and '.join(value) if isinstance(value, list) else value}"
        for name, value in subject.items()
        if name != "what"
    )


def subject_of(what: str, typed: Typed) -> dict[str, str]:
    """Say, for the audit log, what a form does and of whom; the secrets it makes stay out."""
    named = {
        "invite": ("email", "role"),
        "remove": ("email",),
        "sign-out": ("email",),
        "reset-factor": ("email",),
        "second-factor": ("asked_of",),
        "withdraw": ("email",),
        "token": ("name",),
        "revoke": ("token_id",),
        "link": ("do", "wearer"),
    }[what]
    given = {name: typed.get(name, "").strip()[:200] for name in named}
    return {"what": what} | {name: value for name, value in given.items() if value}


def _day(moment: datetime | None) -> str:
    return "" if moment is None else moment.date().isoformat()


def do_form(
    ctx: AppContext, session: Session, who: Identity, what: str, typed: Typed, *, here: str
) -> dict[str, str] | None:
    """Do what a form of the page asks; return a secret to show this once, if it made one.

    A link begins with the address that others reach the service by, else with `here`. Raises
    `Refused`, `NotFound`, `Conflict`.
    """
    now, tenant_pk = ctx.clock.now(), ctx.database.tenant_pk
    start = ctx.settings.public_address or here
    if what == "invite":
        secret = people.invite(
            session,
            tenant_pk=tenant_pk,
            email=typed.get("email", ""),
            role=typed.get("role") or None,
            now=now,
        )
        return {"what": "The invitation.", "secret": f"{start}/join/{secret}"}
    if what == "token":
        scopes = [scope for scope in SCOPES if typed.get(f"scope_{scope}")]
        _, token = tokens.make_token(
            session, who, name=typed.get("name", "").strip() or "a program", scopes=scopes, now=now
        )
        return {"what": "The key.", "secret": token}
    if what == "link" and typed.get("do") != "end":
        secret = tokens.new_link(
            session, tenant_pk=tenant_pk, wearer_id=typed.get("wearer", ""), now=now
        )
        return {"what": "The customer's link.", "secret": f"{start}/open/{secret}"}
    _do_silently(session, tenant_pk, what, typed, now)
    return None


def _do_silently(session: Session, tenant_pk: int, what: str, typed: Typed, now: datetime) -> None:
    """Do what makes no secret."""
    email = typed.get("email", "")
    if what == "remove":
        people.remove_member(session, tenant_pk=tenant_pk, member=email, now=now)
    elif what == "sign-out":
        sessions.end_members_sessions(session, tenant_pk, email)
    elif what == "reset-factor":
        second_factor.reset_members_factor(session, tenant_pk, email)
    elif what == "second-factor":
        second_factor.put_policy(session, tenant_pk, typed.get("asked_of", ""))
    elif what == "withdraw":
        people.withdraw(session, tenant_pk=tenant_pk, invitation_id=typed.get("invitation_id", ""))
    elif what == "revoke":
        tokens.revoke(session, tenant_pk, typed.get("token_id", ""), now)
    else:
        tokens.end_link(session, typed.get("wearer", ""))
