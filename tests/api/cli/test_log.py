"""Does a terminal log, add, change and undo what the pages do?"""

from __future__ import annotations

import json
import re

import pytest

from solespan.api.errors import Conflict, NotFound, Refused, SolespanError


def listed(typed, *words: str) -> list[dict]:
    return json.loads(typed("list", *words, "--format", "json"))["items"]


def test_a_wear_is_logged_once_and_taken_back(typed):
    before = listed(typed, "wears", "--pair", "oxford")
    assert "oxford, 2026-06-14" in typed("wear", "oxford", "--on", "yesterday", "--wet")
    assert "already" in typed("wear", "oxford", "--on", "2026-06-14", "--wet")
    new = [row for row in listed(typed, "wears", "--pair", "oxford") if row not in before]
    assert [(row["worn_on"], row["wet"]) for row in new] == [("2026-06-14", True)]
    assert "2026-06-14" in typed("undo")
    assert listed(typed, "wears", "--pair", "oxford") == before


def test_undo_goes_back_change_by_change(typed):
    for day in ("2026-06-10", "2026-06-11"):
        typed("wear", "oxford", "--on", day)
    typed("check", "oxford", "--foot", "left", "--thumb", "give")
    assert "solespan check" in typed("undo")
    assert "2026-06-11" in typed("undo")
    assert "2026-06-10" in typed("undo")
    with pytest.raises(Conflict, match="No command"):
        typed("undo")


def test_undo_leaves_a_wear_that_a_page_changed_since(typed, fitted):
    typed("wear", "oxford", "--on", "2026-06-10")
    fitted.put("/v1/wear-days/oxford/2026-06-10", json={"hours": 3}, headers={"if-match": "*"})
    with pytest.raises(Conflict, match="Later changes stand on this one"):
        typed("undo")
    assert listed(typed, "wears", "--since", "2026-06-10")[0]["hours"] == 3


def test_any_record_is_edited_deleted_and_brought_back(typed):
    typed("wear", "oxford", "--on", "2026-06-10")
    before = listed(typed, "wears", "--pair", "oxford")
    typed("edit", "record", "wear_days", "oxford/2026-06-10", "--set", "hours=3")
    assert listed(typed, "wears", "--since", "2026-06-10")[0]["hours"] == 3
    with pytest.raises(Refused, match="no column 'hour'"):
        typed("edit", "record", "wear_days", "oxford/2026-06-10", "--set", "hour=3")
    with pytest.raises(NotFound, match="no such record"):
        typed("delete", "record", "wear_days", "oxford")
    typed("delete", "record", "wear_days", "oxford/2026-06-10", "--yes")
    assert len(listed(typed, "wears", "--pair", "oxford")) == len(before) - 1
    deleted = listed(typed, "changes")[0]
    typed("undo", deleted["revision_id"])
    typed("undo")
    back = listed(typed, "wears", "--pair", "oxford")
    assert [(r["worn_on"], r["hours"]) for r in back] == [
        (r["worn_on"], r["hours"]) for r in before
    ]


def test_new_customers_inherit_the_time_zone_of_the_shop(typed):
    typed("settings", "set", "shop.time_zone", "Europe/Vienna")
    assert "Europe/Vienna" in typed("settings", "show", "shop")
    typed("add", "wearer", "Bo", "--id", "bo")
    assert [w["time_zone"] for w in listed(typed, "wearers") if w["wearer_id"] == "bo"] == [
        "Europe/Vienna"
    ]


def test_a_day_that_is_logged_otherwise_asks_before_it_is_replaced(typed):
    typed("wear", "oxford", "--hours", "4", "--set", "surface=rough")
    with pytest.raises(Refused) as caught:
        typed("wear", "oxford", "--hours", "5")
    assert "--replace" in caught.value.remedy
    typed("wear", "oxford", "--hours", "5", "--replace")
    assert listed(typed, "wears", "--since", "2026-06-15")[0]["hours"] == 5
    typed("undo")
    assert listed(typed, "wears", "--since", "2026-06-15")[0]["hours"] == 4


def test_a_check_is_a_grade_or_a_thickness(typed):
    typed("check", "oxford", "--foot", "both", "--thumb", "give")
    typed("check", "oxford", "--foot", "left", "--iron", "8", "--method", "caliper")
    checks = listed(typed, "checks", "--since", "2026-06-15")
    assert [(c["foot"], c["grade"]) for c in checks if c["method"] == "thumb"] == [
        ("left", "give"),
        ("right", "give"),
    ]
    assert [c["value_mm"] for c in checks if c["method"] == "caliper"] == [pytest.approx(4.2333)]


def test_a_pair_goes_its_way_from_the_terminal(typed):
    made = json.loads(
        typed(
            *("add", "pair", "Tan Brogue", "--wearer", "ada", "--construction", "blake"),
            *("--material", "rubber", "--on", "2026-06-01", "-f", "json"),
        )
    )["items"][0]
    assert made["label"] == "Tan Brogue"
    typed("hand-over", "tan brogue", "--work", "full_sole", "--on", "2026-06-02")
    assert "with a new sole" in typed(
        "receive", "tan brogue", "--on", "2026-06-09", "--material", "rubber"
    )
    soles = listed(typed, "soles", "--pair", "tan brogue")
    assert [sole["removed_on"] for sole in soles].count("2026-06-09") == 1
    typed("edit", "pair", "tan brogue", "--name", "old brogue", "--size", "42.5")
    assert "still in use" in typed("in-use", "old brogue")
    typed("retire", "old brogue")
    changed = next(p for p in listed(typed, "pairs") if p["pair_id"] == made["pair_id"])
    assert (changed["label"], changed["size_eu"], changed["construction"]) == (
        "old brogue",
        42.5,
        "blake",
    )
    typed("delete", "pair", "old brogue", "--yes")
    with pytest.raises(NotFound):
        typed("wear", "old brogue")


@pytest.mark.slow
def test_the_example_comes_and_goes(typed):
    before = listed(typed, "pairs")
    typed("add", "example")
    assert len(listed(typed, "pairs")) > len(before)
    typed("delete", "example")
    assert listed(typed, "pairs") == before


MISTAKES = [
    (("wear", "oxfrod"), NotFound, "Did you mean 'oxford'"),
    (("wear", "nothing like it at all"), NotFound, "list pairs"),
    (("wear", "oxford", "--on", "2026-06-16"), Refused, "up to 2026-06-15"),
    (("wear", "oxford", "--on", "16.6."), Refused, "YYYY-MM-DD"),
    (("wear", "oxford", "--hours", "25"), Refused, "--hours"),
    (("wear", "oxford", "--set", "suface=wet"), Refused, "surface"),
    (("wear", "oxford", "--on", "2025-01-01"), Refused, "2025-12-01 or later"),
    (("check", "oxford", "--foot", "left"), Refused, "exactly one"),
    (("check", "oxford", "--foot", "paw", "--thumb", "give"), Refused, "left, right or both"),
    (("check", "oxford", "--foot", "left", "--thumb", "mushy"), Refused, "firm"),
    (("check", "oxford", "--foot", "left", "--mm", "4"), Refused, "say which gauge"),
    (("add", "pair", "x", "--construction", "glue", "--material", "rubber"), Refused, "--w"),
    (("list", "wears", "--wearer", "adda"), NotFound, "'ada'"),
    (("list", "orders", "--stage", "lost"), Refused, "received"),
    (("list", "wears", "--out", "no/such/folder.txt"), Refused, "--out"),
    (("receive", "oxford"), Refused, "not away"),
]


def test_a_mistake_is_told_and_changes_nothing(typed):
    before = listed(typed, "audit")
    for words, error, told in MISTAKES:
        with pytest.raises(error) as caught:
            typed(*words)
        assert told in "\n".join(caught.value.lines()), words
    assert listed(typed, "audit") == before


def test_a_name_that_two_pairs_have_is_refused(typed):
    for pair in ("oxford", "derby"):
        typed("edit", "pair", pair, "--name", "Brown Shoe")
    with pytest.raises(Refused) as caught:
        typed("wear", "brown shoe")
    assert re.search("derby.*oxford", caught.value.accepted)


def test_every_change_is_signed(typed):
    typed("wear", "derby")
    newest = listed(typed, "audit")[0]
    assert (newest["actor"], newest["action"]) == ("the terminal", "solespan wear")
    assert newest["subject"] == {"pair_id": "derby", "worn_on": "2026-06-15"}


def test_papers_and_settings_come_from_a_pipe(typed):
    typed("settings", "set", "bench", "-", stdin=json.dumps({"benches": 3}).encode())
    kept = json.loads(typed("settings", "show", "bench", "-f", "json"))
    assert kept["settings"]["benches"] == 3
    with pytest.raises(SolespanError, match="cannot be read"):
        typed("settings", "set", "bench", "@nowhere.json")


def test_a_booking_is_edited_deleted_and_brought_back(typed):
    order = json.loads(typed("book", "oxford", "full_sole", "-f", "json"))["order_id"]
    typed("edit", "booking", order, "--set", "worker=Eva", "--set", "note=a long one")
    before = json.loads(typed("order", order, "-f", "json"))
    assert (before["worker"], before["note"]) == ("Eva", "a long one")
    with pytest.raises(Refused, match="no column 'wroker'"):
        typed("edit", "booking", order, "--set", "wroker=Eva")
    typed("delete", "booking", order, "--yes")
    with pytest.raises(NotFound):
        typed("order", order)
    typed("put-back", "bench_orders", order)
    assert json.loads(typed("order", order, "-f", "json"))["note"] == "a long one"
    kept = json.loads(typed("list", "history", "bench_orders", order, "-f", "json"))
    assert {"deleted", "changed"} <= {entry["kind"] for entry in kept["entries"]}


def test_a_record_moves_to_another_pair_and_is_put_back(typed):
    typed("wear", "oxford", "--on", "2026-06-10")
    before = listed(typed, "wears")
    typed("edit", "record", "wear_days", "oxford/2026-06-10", "--pair", "derby")
    moved = [row for row in listed(typed, "wears") if row not in before]
    assert [(row["pair_id"], row["worn_on"]) for row in moved] == [("derby", "2026-06-10")]
    kept = json.loads(typed("list", "history", "wear_days", "derby/2026-06-10", "-f", "json"))
    line = str(kept["entries"][0]["line"])
    typed("put-back", "wear_days", "derby/2026-06-10", "--line", line)
    assert {(r["pair_id"], r["worn_on"]) for r in listed(typed, "wears")} == {
        (r["pair_id"], r["worn_on"]) for r in before
    }
    sole = listed(typed, "soles", "--pair", "oxford")[0]["sole_id"]
    with pytest.raises(Refused, match="stays with its pair"):
        typed("edit", "record", "soles", sole, "--pair", "derby")


def test_notes_are_written_and_emptied(typed):
    typed("edit", "pair", "oxford", "--name", "Oxford", "--notes", "left is tight")
    typed("edit", "wearer", "ada", "--notes", "x" * 2000)
    assert {r["notes"] for r in listed(typed, "pairs")} >= {"left is tight"}
    with pytest.raises(Refused, match="2000 characters"):
        typed("edit", "wearer", "ada", "--notes", "x" * 2001)
    typed("edit", "wearer", "ada", "--notes", "")
    assert {r["notes"] for r in listed(typed, "wearers")} == {None}


def test_a_key_is_made_for_a_member_only_and_ended(typed):
    with pytest.raises(NotFound, match="no member"):
        typed("accounts", "make-token", "till", "--member", "a@example.org", "--scope", "read")


def test_a_calibration_logs_both_checks_and_says_what_it_taught(typed):
    words = ("oxford", "--foot", "left", "--on", "2026-06-10", "--method", "caliper")
    told = typed("calibrate", *words, "--thumb", "give", "--mm", "3.0")
    assert "The calibration is logged" in told
    assert "Your thumb says firm from about" in told
    rows = listed(typed, "checks", "--pair", "oxford", "--since", "2026-06-10")
    assert {(row["method"], row["grade"], row["value_mm"]) for row in rows} == {
        ("thumb", "give", None),
        ("caliper", None, 3.0),
    }
    assert "already" in typed("calibrate", *words, "--thumb", "give", "--mm", "3.0")


def test_an_odd_calibration_is_asked_about(typed):
    words = ("oxford", "--foot", "left", "--thumb", "soft", "--mm", "4.9", "--method", "caliper")
    with pytest.raises(Refused, match="although the sole was"):
        typed("calibrate", *words)
    assert "logged" in typed("calibrate", *words, "--sure")
    with pytest.raises(Refused, match="no foot"):
        typed("calibrate", "oxford", "--foot", "both", "--thumb", "give", "--mm", "3")
