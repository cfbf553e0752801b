"""How do workers die at random moments, again and again, until a test is content?

Run as a program of its own: it has everything imported and no thread, so that a worker is a fork
and dies by SIGKILL without a goodbye. Two workers are always alive; after the last kill two more
finish what is left. Prints how many were killed.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import sys
import time
import traceback
from datetime import UTC, datetime, timedelta
from uuid import uuid4

from api.clock import Clock
from api.logs import configure_logs
from api.services.notices.sending import Sender
from api.settings import Settings
from api.storage.notices_outbox import count_states
from api.wiring import build_services

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
WORKERS = 2
LEASE = timedelta(seconds=1)
LONGEST_SEND = timedelta(milliseconds=300)
OPEN = ("pending", "claimed")
BEGUN = time.monotonic()
# The tests' day, going on at the pace of the real one, the same in every fork.
CLOCK = Clock(lambda: NOW + timedelta(seconds=time.monotonic() - BEGUN))


def work(settings: Settings) -> None:
    """Send until nothing is left open; what a dead worker held is waited for."""
    services = build_services(settings, CLOCK)
    worker = uuid4().hex
    chance = random.Random(worker).random
    sender = Sender(
        services, worker=worker, chance=chance, lease=LEASE, longest_send=LONGEST_SEND, batch=5
    )
    while True:
        sender.drain()
        with services.database.reading() as session:
            states = count_states(session)
        if not any(states.get(state) for state in OPEN):
            return
        time.sleep(0.02)


def forked(settings: Settings) -> int:
    """Start a worker; return its process id."""
    pid = os.fork()
    if pid:
        return pid
    code = 1
    try:
        work(settings)
        code = 0
    except BaseException:  # noqa: BLE001 - the fork must not go on as its parent
        traceback.print_exc()
    os._exit(code)


def main() -> int:
    """Kill workers until enough are dead, then let two finish."""
    parser = argparse.ArgumentParser()
    parser.add_argument("address")
    parser.add_argument("port", type=int)
    parser.add_argument("kills", type=int)
    parser.add_argument("seed", type=int)
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
    alive = [forked(settings) for _ in range(WORKERS)]
    killed = 0
    while killed < given.kills:
        time.sleep(rng.uniform(0.005, 0.06))
        victim = alive.pop(rng.randrange(len(alive)))
        os.kill(victim, signal.SIGKILL)
        _, status = os.waitpid(victim, 0)
        if os.WIFSIGNALED(status):
            killed += 1
        elif os.WEXITSTATUS(status):
            return 1
        else:
            break  # everything was sent before it could be killed
        alive.append(forked(settings))
    for pid in alive:
        _, status = os.waitpid(pid, 0)
        if status:
            return 1
    sys.stdout.write(f"{killed}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
