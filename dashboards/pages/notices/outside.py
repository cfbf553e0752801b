"""Outside page: what do the pages say that a customer opens from a notice?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from solespan.dashboards.language import ENGLISH, Language, gettext_noop
from solespan.dashboards.pages.notices.work_words import works_words

__all__ = [
    "answer_page",
    "grade_words",
    "link_failure_page",
    "said_problem",
    "unsubscribe_page",
    "way_choices",
]

_GRADES = {
    "firm": (gettext_noop("firm"), gettext_noop("does not move")),
    "give": (gettext_noop("give"), gettext_noop("moves a little")),
    "soft": (gettext_noop("soft"), gettext_noop("flexes easily")),
    "hole": (gettext_noop("hole"), gettext_noop("worn through")),
}
_ASK = {
    "book": (
        gettext_noop("Book it in"),
        gettext_noop("A new sole is due %(when)s. Please bring or post it %(bring_by)s."),
    ),
    "check": (
        gettext_noop("The thumb check"),
        gettext_noop("No gauge and no photograph are needed, only a minute."),
    ),
    "elsewhere": (
        gettext_noop("It was done elsewhere"),
        gettext_noop("Then this pair needs nothing from us now."),
    ),
    "decline": (
        gettext_noop("Not this time"),
        gettext_noop("We will not write about this sole again."),
    ),
}
_DONE = {
    "elsewhere": gettext_noop(
        "Thank you. We will not write about the old sole again. "
        "The new one is taken for the same material until we measure it."
    ),
    "declined": gettext_noop("Thank you for telling us. We will not write about this sole again."),
}
# what a customer can do about a form that was not taken, by the place of the fault
_TRY = {
    "day": gettext_noop("This day cannot be taken. Please choose another day."),
    "left, right": gettext_noop("Please say for one shoe at least how the sole feels."),
    "works": gettext_noop("Our offer has changed. Please look at it and choose again."),
    "form_token": gettext_noop("Please open the link again and press the button there."),
    "the pair": gettext_noop("This pair is booked in already. There is nothing more to do."),
    "how often": gettext_noop("Please wait a minute, then open it again."),
    "the address": gettext_noop("Please copy the whole link, or get in touch with us."),
}


def grade_words(language: Language) -> list[tuple[str, str, str]]:
    """List what a thumb can feel: each with its word and what it means."""
    say = language.gettext
    return [(grade, say(word), say(help_)) for grade, (word, help_) in _GRADES.items()]


def said_problem(what: str, remedy: str, where: str, language: Language) -> str:
    """Say why a form was not taken; in English with all that is known of it."""
    if language is ENGLISH:
        return " ".join(filter(None, [what, remedy]))
    return language.gettext(_TRY.get(where, _FAILED))


_FAILED = gettext_noop("That did not work. Please get in touch with us.")
TITLES = (
    gettext_noop("This link leads nowhere"),
    gettext_noop("The time of this link is over"),
    gettext_noop("This link cannot be read"),
    gettext_noop("This cannot be done"),
    gettext_noop("This link was opened too often"),
)


def answer_page(
    purpose: str,
    told: dict[str, Any],
    *,
    answered: str | None,
    done: bool,
    order: Mapping[str, Any] | None,
    dates: Mapping[str, Any] | None,
    language: Language = ENGLISH,
) -> dict[str, Any]:
    """Say what a link is for, about which pair, and what has been answered.

    Parameters
    ----------
    told : dict
        `label`, `when` and `bring_by` as the notice said them.
    answered : str or None
        The answer given so far.
    done : bool
        Whether it was given just now.
    order : mapping or None
        The open order of the pair: `expected_on`, `by_post`, and whether it is `received`.
    dates : mapping or None
        `when`, `sure`, `bring_by` and `stop_wearing` as they are now; None while there are none.
    """
    say = language.gettext
    heading, lead = _ASK[purpose]
    over = purpose == "book" and order is not None
    said = say(_DONE.get(answered or "", "")) if done else ""
    if over and order is not None:
        said = _booked(order, language, done=done)
    elif done and answered == "checked":
        said = _checked(dates, language, guard=bool(told.get("guard")), ask=order is None)
    return {
        "heading": f"{say(heading)}: {told['label']}",
        "lead": "" if over else _lead(say(lead), told, language),
        "done": said,
        "guard": bool(told.get("guard")),
        "shows_form": not (over or (done and purpose != "check")),
        "grades": grade_words(language),
        "purpose": purpose,
        "problem": "",
    }


def _lead(lead: str, told: Mapping[str, Any], language: Language) -> str:
    if "%(" not in lead:
        return lead
    if told.get("guard"):  # a notice from before told of soles only
        lead = language.gettext(
            "A new guard over the sole is due %(when)s. Please bring or post it %(bring_by)s."
        )
    return lead % {"when": told["when"], "bring_by": told["bring_by"]}


def _due(when: str, language: Language, *, guard: bool) -> str:
    if guard:
        return language.gettext("A new guard over the sole is due %(when)s", when=when)
    return language.gettext("A new sole is due %(when)s", when=when)


def _booked(order: Mapping[str, Any], language: Language, *, done: bool) -> str:
    say = language.gettext
    if order["stage"] == "refused":
        return say(
            "We looked at this pair and do not take the work: %(reason)s", reason=order["reason"]
        )
    if order["stage"] == "sent_on":
        said = say("This pair is with its maker for us; there is nothing more to do.")
        if order["back_on"] is None:
            return said
        back = say("We expect it back on %(day)s.", day=language.long_date(order["back_on"]))
        return f"{said} {back}"
    if order["stage"] not in ("booked", "in_post"):
        return say("This pair is with us already; there is nothing more to do.")
    said = say("Thank you. It is booked in") if done else say("This pair is booked in already")
    how = say("you post it") if order["by_post"] else say("you bring it")
    if order["expected_on"]:
        day = language.long_date(order["expected_on"])
        how = (
            say("you post it on %(day)s", day=day)
            if order["by_post"]
            else say("you bring it on %(day)s", day=day)
        )
    return f"{said}: {how}."


def _checked(dates: Mapping[str, Any] | None, language: Language, *, guard: bool, ask: bool) -> str:
    say = language.gettext
    if dates is None:
        return say("Thank you. The dates will be calculated again.")
    sure = f" ({dates['sure']})" if dates["sure"] else ""
    due = _due(dates["when"], language, guard=guard)
    said = [
        say("Thank you. The dates have been calculated again."),
        say("Please stop wearing this pair.") if dates["stop_wearing"] else "",
        f"{due}{sure}.",
        say("Please bring or post it %(bring_by)s.", bring_by=dates["bring_by"]) if ask else "",
    ]
    return " ".join(filter(None, said))


def unsubscribe_page(*, done: bool, language: Language = ENGLISH) -> dict[str, Any]:
    """Say what the button does, or that it is done."""
    say = language.gettext
    return {
        "heading": say("Stop these notices"),
        "lead": say("You will get no more notices from us.")
        if done
        else say("Press the button to stop all notices from us."),
        "done": say("That is done.") if done else "",
        "shows_form": not done,
        "purpose": "unsubscribe",
        "grades": grade_words(language),
        "problem": "",
    }


def way_choices(
    quoted: Mapping[str, Any] | None, language: Language = ENGLISH
) -> list[tuple[str, str, str]]:
    """List the ways that a customer may choose from, each with its price and what it buys."""
    if quoted is None or not quoted["alternatives"]:
        return []
    say = language.gettext
    told = [
        (
            " ".join(way["works"]),
            ", ".join(
                (
                    works_words(way["works"], language),
                    language.money(way["price_minor"], quoted["currency"]),
                )
            ),
            _days_bought(way, language),
        )
        for way in quoted["alternatives"]
    ]
    return [("", say("You decide"), say("after a look at the pair")), *told]


def _days_bought(way: Mapping[str, Any], language: Language) -> str:
    names = ("wear_days_bought", "wear_days_low", "wear_days_high")
    middle, low, high = (language.number(way[name]) for name in names)
    return language.gettext(
        "wear days bought: %(middle)s (%(low)s to %(high)s)", middle=middle, low=low, high=high
    )


def link_failure_page(title: str, lines: list[str], language: Language = ENGLISH) -> dict[str, Any]:
    """Say why a link leads nowhere."""
    return {
        "heading": language.gettext(title),
        "lead": " ".join(line for line in lines if line),
        "done": "",
        "shows_form": False,
        "purpose": "",
        "grades": grade_words(language),
        "problem": "",
    }
