"""Is every habit that the schema of `/v1/what-if` allows answered with 200, or with a reason?"""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from solespan.api.schemas.planning.planning import WhatIfAsked

TODAY = date(2026, 7, 1)
SCHEMA = WhatIfAsked.model_json_schema()
KINDS = {
    name.removesuffix("Asked").lower(): kind
    for name, kind in SCHEMA["$defs"].items()
    if name.endswith("Asked") and "kind" in kind["properties"]
}
PAIRS = st.sampled_from([f"ada-{n}" for n in range(4)] * 3 + ["ben-0", "nobody"])
SOON = st.integers(1, 800).map(lambda days: (TODAY + timedelta(days)).isoformat())
ANY_DAY = st.dates(date(1900, 1, 1), date(2199, 12, 31)).map(date.isoformat)
DAYS = st.one_of(SOON, SOON, SOON, ANY_DAY)


def values_of(name: str, field: dict) -> st.SearchStrategy:
    """Draw what a field allows, ids of pairs that are mostly there, and days mostly to come."""
    if "anyOf" in field:
        return st.one_of([values_of(name, one) for one in field["anyOf"]])
    if (words := field.get("enum") or [field.get("const")]) != [None]:
        return st.sampled_from(words)
    if field["type"] == "null":
        return st.none()
    if field["type"] == "array":
        return st.lists(PAIRS, min_size=field["minItems"], max_size=4)
    if field["type"] == "number":
        return st.floats(field["minimum"], field["maximum"])
    return DAYS if field.get("format") == "date" else PAIRS


def habits(kind: str) -> st.SearchStrategy:
    """Draw a habit by its schema, with and without the fields that may be left out."""
    drawn = {name: values_of(name, field) for name, field in KINDS[kind]["properties"].items()}
    needed = {name: drawn.pop(name) for name in KINDS[kind]["required"]}
    return st.fixed_dictionaries(needed, optional=drawn)


def test_each_kind_of_habit_has_a_schema_of_its_own():
    assert sorted(KINDS) == ["condition", "pace", "retire", "trip"]


@pytest.mark.slow
@pytest.mark.parametrize("kind", sorted(KINDS))
def test_each_allowed_habit_is_answered_or_refused_with_a_reason(client, kind):
    counts = {200: 0, 404: 0, 422: 0}

    @settings(max_examples=40, suppress_health_check=list(HealthCheck))
    @given(
        st.lists(habits(kind), min_size=1, max_size=2),
        st.none() | st.integers(0, 6),
        st.sampled_from(["ada", "ada", "ada", "ada", "ben", "nobody"]),
    )
    def ask(asked, rest_days, wearer_id):
        body = {"wearer_id": wearer_id, "habits": asked, "rest_days": rest_days}
        answer = client.post("/v1/what-if", json=body)
        assert answer.status_code in counts, answer.text
        counts[answer.status_code] += 1
        assert "items" in answer.json() or answer.json()["detail"]

    ask()
    assert counts[200] >= 3, "hardly any was allowed"
