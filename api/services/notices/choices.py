"""Notice choices of a shop: how are rules and wording read and changed?"""

from __future__ import annotations

from sqlalchemy.orm import Session

from solespan.api.notices.languages import LANGUAGES
from solespan.api.notices.template import check_template, shipped_template
from solespan.api.schemas.edition import refuse_other_edition
from solespan.api.schemas.forms import Typed
from solespan.api.schemas.notices.notices import NoticeRules, NoticeTemplate
from solespan.api.services.shop_choices import change_choices, read_choices
from solespan.api.storage.session import Database
from solespan.api.storage.shop_settings import known_settings

__all__ = [
    "change_rules",
    "change_template",
    "read_rules",
    "read_template",
    "read_templates",
    "wording_name",
    "write_template",
]

RULES = "notices"
TEMPLATE = "notice_template"


def read_rules(session: Session) -> tuple[NoticeRules, int]:
    """Return the rules and their version; version 0 = the defaults."""
    return read_choices(session, RULES, NoticeRules())


def read_template(
    session: Session, language: str = "en", *, lock: bool = False
) -> tuple[NoticeTemplate, int]:
    """Return the wording in a language and its version; version 0 = as shipped."""
    return read_choices(
        session, wording_name(language), shipped_template(LANGUAGES[language]), lock=lock
    )


def read_templates(session: Session) -> dict[str, NoticeTemplate]:
    """Return the wording in every language."""
    names = {code: wording_name(code) for code in LANGUAGES}
    kept = known_settings(session, tuple(names.values()))
    return {
        code: NoticeTemplate.model_validate(kept[name])
        if name in kept
        else shipped_template(LANGUAGES[code])
        for code, name in names.items()
    }


def wording_name(language: str) -> str:
    """Return under which name the wording of a language is kept."""
    return TEMPLATE if language == "en" else f"{TEMPLATE}_{language}"


def change_rules(session: Session, rules: NoticeRules, versions: frozenset[int] | None) -> int:
    """Replace the rules if they have one of `versions` (None = any); return the new version.

    Raises `StaleVersion`.
    """
    return change_choices(session, RULES, rules, versions)


def change_template(
    database: Database,
    template: NoticeTemplate,
    versions: frozenset[int] | None = None,
    language: str = "en",
    *,
    seen: Typed | None = None,
) -> int:
    """Replace the wording of a language if it can be used; return the new version.

    It is filled in before a transaction begins, so no other writer waits for that. A form gives
    what was typed as `seen`. Raises `TemplateRefused`, `StaleVersion`, `ChangedMeanwhile`.
    """
    check_template(template)
    with database.writing() as session:
        if seen is not None:
            now, _ = read_template(session, language, lock=True)
            refuse_other_edition(seen, now.model_dump(), frozenset({"form_token", "account"}))
        return write_template(session, template, versions, language)


def write_template(
    session: Session,
    template: NoticeTemplate,
    versions: frozenset[int] | None,
    language: str = "en",
) -> int:
    """Replace the wording, which the caller has checked; return the new version.

    Raises `StaleVersion`.
    """
    return change_choices(session, wording_name(language), template, versions)
