"""Is no notice lost, and does a repeat carry the same Message-ID, whenever a worker dies?"""

from __future__ import annotations

import asyncio
import os
import signal
import subprocess
import sys
from collections import Counter
from contextlib import suppress
from pathlib import Path

import pytest

from solespan.api.services.notices.deciding import run
from solespan.api.storage.notices.notices import list_notices
from tests.api.notices.people import add_many, count_states
from tests.api.notices.servers import Mailbox, mail_server

KILLS, NOTICES = 200, 400
PROGRAM = Path(__file__).with_name("kill_workers.py")


class SlowMailbox(Mailbox):
    """Keeps a mail before it says so, a while later: the window in which a crash repeats it."""

    def __init__(self, kept: int) -> None:
        super().__init__()
        self.kept = kept

    async def handle_DATA(self, server, session, envelope):  # noqa: N802
        answer = await super().handle_DATA(server, session, envelope)
        os.write(self.kept, b".")
        await asyncio.sleep(0.05)
        return answer


@pytest.mark.load
@pytest.mark.slow
def test_two_hundred_kills_lose_no_notice_and_tell_nobody_two_different_things(
    shop_on, new_address
):
    """Two workers on one database, SIGKILL at random moments; at least once, never twice told."""
    shop = shop_on(new_address, pairs=0)
    add_many(shop.database, NOTICES)
    assert run(shop).notices == NOTICES
    heard, kept = os.pipe()
    mailbox = SlowMailbox(kept)
    with mail_server(mailbox) as port:
        arguments = [new_address, str(port), str(KILLS), "20261125", str(heard)]
        program = subprocess.Popen(
            [sys.executable, str(PROGRAM), *arguments],
            stdout=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).parents[3],
            env={"PYTHONPATH": "."},
            start_new_session=True,
            pass_fds=[heard],
        )
        try:
            said, _ = program.communicate(timeout=500)
        finally:
            with suppress(ProcessLookupError):
                os.killpg(program.pid, signal.SIGKILL)
            os.close(heard)
            os.close(kept)
    assert program.returncode == 0
    assert int(said) >= KILLS
    with shop.database.reading() as session:
        assert count_states(session) == {"sent": NOTICES}, "no notice is lost"
        decided = {row["message_id"] for row in list_notices(session, limit=NOTICES + 1)}
    arrived = Counter(mail["Message-ID"] for mail in mailbox.mails)
    assert set(arrived) == decided
    by_id: dict[str, set[bytes]] = {}
    for mail, raw in zip(mailbox.mails, mailbox.taken, strict=True):
        by_id.setdefault(mail["Message-ID"], set()).add(raw)
    assert all(len(words) == 1 for words in by_id.values()), "a repeat says the same"
    assert len({to for (to,) in mailbox.recipients}) == NOTICES
    assert 0 < sum(arrived.values()) - NOTICES <= int(said), "each kill repeats one notice at most"
