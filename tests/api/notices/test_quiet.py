"""Is nobody written to in their quiet hours, whatever their clock does?"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solespan.api.notices.quiet import first_allowed, is_quiet, zone_of

# Zones with usual changes, gaps at midnight, a change of half an hour, and a day left out.
ZONES = (
    "UTC",
    "Europe/Vienna",
    "America/New_York",
    "Africa/Cairo",
    "Asia/Beirut",
    "America/Santiago",
    "America/Havana",
    "Australia/Lord_Howe",
    "Pacific/Apia",
    "Asia/Kathmandu",
)
TIMES = st.builds(time, st.integers(0, 23), st.sampled_from([0, 15, 30, 59]))
INSTANTS = st.integers(0, 20 * 365 * 24 * 60).map(
    lambda minutes: datetime(2011, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)
)


def wall(at: datetime, zone: ZoneInfo) -> str:
    """What the clock on the wall shows."""
    return f"{at.astimezone(zone):%Y-%m-%d %H:%M}"


@settings(max_examples=150)
@given(now=INSTANTS, zone=st.sampled_from(ZONES), quiet_from=TIMES, quiet_to=TIMES)
def test_the_first_allowed_instant_is_not_quiet_and_soon(now, zone, quiet_from, quiet_to):
    there = ZoneInfo(zone)
    at = first_allowed(now, there, quiet_from, quiet_to)
    assert at >= now
    assert not is_quiet(at.astimezone(there).time(), quiet_from, quiet_to)
    assert at - now <= timedelta(hours=49)  # a day, and a gap that swallows the next end
    if not is_quiet(now.astimezone(there).time(), quiet_from, quiet_to):
        assert at == now


@settings(max_examples=80)
@given(
    now=INSTANTS, zone=st.sampled_from(ZONES), later=st.timedeltas(timedelta(0), timedelta(days=2))
)
def test_waiting_never_lets_a_notice_go_earlier(now, zone, later):
    quiet = (time(20), time(8))
    there = ZoneInfo(zone)
    assert first_allowed(now, there, *quiet) <= first_allowed(now + later, there, *quiet)


def test_a_time_that_the_clock_skips_counts_the_same_distance_later():
    """Vienna, 2027-03-28: 02:00 becomes 03:00; 02:30 counts as 03:30 (RFC 5545, 3.3.5)."""
    there = ZoneInfo("Europe/Vienna")
    at = first_allowed(datetime(2027, 3, 28, 0, tzinfo=UTC), there, time(20), time(2, 30))
    assert wall(at, there) == "2027-03-28 03:30"


def test_a_time_shown_twice_is_the_first_of_the_two():
    """Vienna, 2027-10-31: 03:00 becomes 02:00; 02:30 comes twice, at 00:30 and 01:30 UTC."""
    there = ZoneInfo("Europe/Vienna")
    at = first_allowed(datetime(2027, 10, 30, 23, tzinfo=UTC), there, time(20), time(2, 30))
    assert at == datetime(2027, 10, 31, 0, 30, tzinfo=UTC)


def test_midnight_may_be_missing():
    """Cairo, 2027-04-30: 00:00 becomes 01:00, so quiet until midnight ends at 01:00."""
    there = ZoneInfo("Africa/Cairo")
    before = datetime(2027, 4, 29, 20, tzinfo=UTC)
    assert before.astimezone(there).hour == 22
    at = first_allowed(before, there, time(22), time(0))
    assert wall(at, there) == "2027-04-30 01:00"


def test_a_whole_day_may_be_missing():
    """Apia went from 2011-12-29 to 2011-12-31 (zone database)."""
    there = ZoneInfo("Pacific/Apia")
    before = datetime(2011, 12, 30, 8, tzinfo=UTC)
    assert before.astimezone(there).date() == date(2011, 12, 29)
    at = first_allowed(before, there, time(20), time(8))
    assert wall(at, there) == "2011-12-31 08:00"


@pytest.mark.parametrize(
    ("at", "quiet"), [(time(23), True), (time(7, 59), True), (time(8), False), (time(20), True)]
)
def test_quiet_hours_go_over_midnight(at, quiet):
    assert is_quiet(at, time(20), time(8)) is quiet


def test_the_same_time_twice_means_no_quiet_hours():
    assert not any(is_quiet(time(h), time(20), time(20)) for h in range(24))


def test_an_unknown_zone_counts_as_utc():
    assert zone_of("Mars/Olympus") is UTC
