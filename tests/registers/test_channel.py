"""Do one folder and one line bring a new channel everywhere it should show?"""

from __future__ import annotations

import pytest

FOLDER = '''"""Text messages: how does a notice reach a telephone?"""

from __future__ import annotations

from datetime import timedelta

from solespan.api.channels.addresses import TELEPHONE
from solespan.api.channels.entry import ChannelEntry
from solespan.api.channels.message import DeliveryError, Message
from solespan.api.channels.retry import RetryRule
from solespan.api.channels.setup import ChannelSettings

SENT: list[Message] = []


class TextMessages:
    """Keeps what it is given, as there is no network here."""

    needs_address = True
    missing = ""

    def __init__(self, setup: ChannelSettings) -> None:
        del setup

    def send(self, message: Message) -> None:
        if message.address is None:
            raise DeliveryError("there is no number", permanent=True)
        SENT.append(message)

    def close(self) -> None:
        """Close nothing."""


ENTRY = ChannelEntry(
    "text",
    TextMessages,
    "text message",
    TELEPHONE,
    note="a message to their telephone",
    parts=("text",),
    retry=RetryRule(timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)),
)
'''


@pytest.mark.slow
def test_a_folder_and_a_line_bring_a_channel_everywhere(checkout):
    checkout.write("api/channels/text/__init__.py", FOLDER)
    register = "api/channels/__init__.py"
    checkout.put_before(register, "        print_list.ENTRY", "        text.ENTRY,\n")
    checkout.replace(register, "import mail, print_list", "import mail, print_list, text")
    checkout.run("channel_in_use.py")
    assert len(checkout.by_hand) == 2
