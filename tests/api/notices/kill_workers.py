"""How do workers die at random moments, again and again, until a test is content?

Run as a program of its own: it has everything imported and no thread, so that a worker is a fork
and dies by SIGKILL without a goodbye. A worker says when it is about to send, and its last moment
is counted from there: however slow the machine, it dies at work and not while it gets ready. Every
second time both die when the mail server has just kept a mail and not yet said so, which is when a
repeat cannot be helped. After the last kill two more finish what is left. Prints how many died.
"""

from __future__ import annotations

import argparse
import os
import random
import select
import signal
import sys
import time
import traceback
from datetime import UTC, datetime, timedelta
from uuid import uuid4

from solespan.api.clock import Clock
from solespan.api.logs import configure_logs
from solespan.api.services.notices.sending import Sender
from solespan.api.settings import Settings
from solespan.api.wiring import build_services
from tests.api.notices.people import count_states

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
WORKERS = 2
LEASE = timedelta(seconds=2)
LONGEST_SEND = timedelta(seconds=1)
OPEN = ("pending", "claimed")
BEGUN = time.monotonic()
# The tests' day, going on at the pace of the real one, the same in every fork.
CLOCK = Clock(lambda: NOW + timedelta(seconds=time.monotonic() - BEGUN))


def work(settings: Settings, ready: int, *, stay: bool) -> None:
    """Send until nothing is left open, or until killed; what a dead worker held is waited for."""
    services = build_services(settings, CLOCK)
    worker = uuid4().hex
    chance = random.Random(worker).random
    sender = Sender(
        services, worker=worker, chance=chance, lease=LEASE, longest_send=LONGEST_SEND, batch=5
    )
    os.write(ready, b".")
    while True:
        sender.drain()
        with services.database.reading() as session:
            states = count_states(session)
        if not stay and not any(states.get(state) for state in OPEN):
            return
        time.sleep(0.02)


def forked(settings: Settings, *, stay: bool) -> int:
    """Start a worker, wait until it is about to send; return its process id."""
    heard, ready = os.pipe()
    pid = os.fork()
    if pid:
        os.close(ready)
        os.read(heard, 1)
        os.close(heard)
        return pid
    code = 1
    try:
        os.close(heard)
        work(settings, ready, stay=stay)
        code = 0
    except BaseException:  # noqa: BLE001 - the fork must not go on as its parent
        traceback.print_exc()
    os._exit(code)


def wait_for_a_mail(kept: int) -> None:
    """Return when a mail is kept from now on, or after a second in which none was left to send."""
    while select.select([kept], [], [], 0)[0]:
        os.read(kept, 1 << 16)
    select.select([kept], [], [], 1)


def killed(pid: int) -> bool:
    """Kill a worker; return whether it was alive until then."""
    os.kill(pid, signal.SIGKILL)
    return os.WIFSIGNALED(os.waitpid(pid, 0)[1])


def main() -> int:
    """Kill workers until enough are dead, then let two finish."""
    parser = argparse.ArgumentParser()
    parser.add_argument("address")
    parser.add_argument("port", type=int)
    parser.add_argument("kills", type=int)
    parser.add_argument("seed", type=int)
    parser.add_argument("kept", type=int, help="where the mail server writes a byte a kept mail")
    given = parser.parse_args()
    configure_logs("error")
    settings = Settings(
        database_url=given.address,
        smtp_host="127.0.0.1",
        smtp_port=given.port,
        smtp_security="plain",
        smtp_from="bench@shop.example",
        secret_key="x" * 32,
        public_address="https://shop.example",
    )
    rng = random.Random(given.seed)
    dead = 0
    alive = [forked(settings, stay=True) for _ in range(WORKERS)]
    while dead < given.kills:
        if dead % 3:
            wait_for_a_mail(given.kept)
            victims = list(alive)
        else:
            time.sleep(rng.uniform(0.005, 0.06))
            victims = [rng.choice(alive)]
        if not all(killed(pid) for pid in victims):
            return 1
        dead += len(victims)
        alive = [pid for pid in alive if pid not in victims]
        alive += [forked(settings, stay=True) for _ in victims]
    if not all(killed(pid) for pid in alive):
        return 1
    dead += len(alive)
    for pid in [forked(settings, stay=False) for _ in range(WORKERS)]:
        _, status = os.waitpid(pid, 0)
        if status:
            return 1
    sys.stdout.write(f"{dead}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
