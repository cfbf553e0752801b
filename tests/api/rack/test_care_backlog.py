"""Is a log of many wears no backlog of care, and does one tap do all of a pair?"""

from datetime import date

import pandas as pd
import pytest

from solespan.api.services.planning.care import care_due, log_all_care, start_counting
from solespan.api.services.planning.rack import known_rack
from solespan.api.services.planning.reminder_text import CARE, facts_of
from solespan.api.services.rack.pair_page import upkeep_values
from solespan.dashboards.pages.planning.care import care_page
from solespan.forecast.planning import CareRule, due_care

TODAY = pd.Timestamp("2026-11-25")
RULES = [CareRule("condition", "other", every_wears=8), CareRule("brush", "other", every_wears=3)]


def due(wears, done=()):
    days = pd.date_range(end=TODAY, periods=wears)
    worn = pd.DataFrame({"pair_id": "p", "worn_on": days, "wet": False})
    noted = pd.DataFrame(done, columns=["pair_id", "care", "done_on"])
    noted["done_on"] = pd.to_datetime(noted["done_on"])
    frame = due_care(worn, noted, {"p": "other"}, RULES, today=TODAY)
    return dict(zip(frame["care"], frame["backlog"], strict=True))


@pytest.mark.parametrize(
    ("wears", "expected"),
    [
        (2, {}),
        (3, {"brush": False}),
        (8, {"brush": False, "condition": False}),
        (158, {"brush": True, "condition": True}),
    ],
)
def test_only_what_is_many_times_over_and_was_never_noted_is_a_backlog(wears, expected):
    assert due(wears) == expected


def test_what_was_noted_once_is_never_a_backlog():
    assert due(158, [("p", "condition", date(2026, 6, 30))])["condition"] is False


def test_the_page_names_pairs_of_the_backlog_once_and_counts_tasks():
    items = [
        {"pair_id": p, "label": None, "care": c, "what": c, "reason": "due", "backlog": b}
        for p, c, b in (("a", "brush", False), ("a", "condition", True), ("b", "brush", True))
    ]
    said = care_page(items)
    assert said["summary"] == "1 pair, 1 task"
    assert said["backlog"] == ["a", "b"]


def told_of(items) -> set[tuple[str, str]]:
    return {(one["pair_id"], one["care"]) for one in items if not one["backlog"]}


def told_elsewhere(client, whose) -> set[tuple[str, str]]:
    """The care that reminders and the pages of care of each pair tell of; they must agree."""
    ctx = client.app.state.services
    with ctx.database.reading() as session:
        facts = facts_of(ctx, session, whose, (CARE,))
        pairs = list(known_rack(ctx, session, whose).log.pairs["pair_id"])
    reminded = {(fact.pair_id, fact.key.split()[2]) for fact in facts}
    shown = {(p, one["care"]) for p in pairs for one in upkeep_values(ctx, p)["care"]}
    assert reminded == shown
    return reminded


def test_counting_starts_today_and_all_of_a_pair_is_done_at_once(client):
    """158 wears are logged; after the start only new wears count."""
    ctx = client.app.state.services

    whose, pair = "ada", "pair-000"
    before = care_due(ctx, whose)["items"]
    assert any(one["backlog"] for one in before)
    assert told_elsewhere(client, whose) == told_of(before), "no backlog in reminders or on pages"
    with ctx.database.writing() as session:
        assert start_counting(ctx, session, whose)["started"] > 0
    after = care_due(ctx, whose)["items"]
    assert not any(one["backlog"] for one in after)
    assert told_elsewhere(client, whose) == told_of(after)
    assert len(after) < len(before)
    with ctx.database.writing() as session:
        log_all_care(ctx, session, pair)
    assert not [one for one in care_due(ctx, whose)["items"] if one["pair_id"] == pair]
