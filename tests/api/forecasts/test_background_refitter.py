"""When does the background thread follow what was logged, so that a burst of writes costs once?"""

from __future__ import annotations

import itertools
import threading
from collections.abc import Iterable

import pytest

from solespan.api.services.forecasts import fitting
from solespan.api.services.forecasts.fitting import BackgroundRefitter

LONG_S = 3600.0


class Writers(threading.Event):
    """A wake that tells, at each look, whether somebody wrote since the last one."""

    def __init__(self, wrote: Iterable[bool]) -> None:
        super().__init__()
        self._wrote = iter(wrote)
        self.looks = 0

    def wait(self, timeout: float | None = None) -> bool:
        return True

    def is_set(self) -> bool:
        self.looks += 1
        return next(self._wrote, False)


def looks_before_the_second_round(wrote, *, longest_settle_s=LONG_S, refit=False):
    wake, rounds = Writers(wrote), itertools.count(1)
    ended = threading.Event()
    looks = []

    def everyone():
        if next(rounds) == 2:
            looks.append(wake.looks)
            upkeep._stop.set()
            ended.set()
        return ()

    upkeep = BackgroundRefitter(
        None, None, everyone=everyone, wake=wake, settle_s=0.0, longest_settle_s=longest_settle_s
    )
    if refit:
        upkeep.wake(refit=True)
    upkeep.start()
    assert ended.wait(LONG_S)
    upkeep.stop()
    return looks[0]


@pytest.mark.parametrize("writes", [0, 1, 40])
def test_a_burst_of_writes_is_followed_once_when_it_pauses(writes):
    assert looks_before_the_second_round([True] * writes + [False]) == writes + 1


def test_who_never_pauses_is_followed_all_the_same():
    assert looks_before_the_second_round(itertools.repeat(True), longest_settle_s=0.0) == 1


def test_a_refit_that_was_asked_for_does_not_wait_for_others_writes():
    assert looks_before_the_second_round(itertools.repeat(True), refit=True) == 1


class Takes(BackgroundRefitter):
    """The upkeep of one tenant, with rounds that take a time of the clock given."""

    def __init__(self, clock, took_s, **given) -> None:
        super().__init__(None, None, **given)
        self.clock, self.took_s, self.rounds = clock, took_s, 0

    def once(self) -> None:
        self.rounds += 1
        self.clock.now += self.took_s


@pytest.mark.parametrize(("tenants", "least", "most"), [(2, 8, 12), (1, 90, 110)])
def test_a_tenant_that_always_has_work_takes_its_share(monkeypatch, tenants, least, most):
    class Hands:
        now = 0.0

        def monotonic(self) -> float:
            return self.now

    clock = Hands()
    monkeypatch.setattr(fitting, "time", clock)
    busy = Takes(clock, 1.0)
    thread = Takes(clock, 0.0, everyone=lambda: (busy, *([thread] if tenants == 2 else [])))
    for _ in range(1000):
        thread.turn()
        clock.now += 0.1
        if clock.now > 100:
            break
    assert least <= busy.rounds <= most
