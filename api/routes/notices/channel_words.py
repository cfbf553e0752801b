"""Words of channels: what pages say of each, in the register's order."""

from __future__ import annotations

from solespan.api.channels import CHANNELS, ON_PAPER
from solespan.dashboards.pages.notices.notices import ChannelWords

__all__ = ["channel_words"]


def channel_words() -> dict[str, ChannelWords]:
    """Return the words of each channel by its name."""
    return {
        name: ChannelWords(
            word=entry.word,
            note=entry.note,
            on_paper=name in ON_PAPER,
            address=entry.address.word if entry.address.kept == "consent" else "",
            lines=entry.address.lines,
        )
        for name, entry in CHANNELS.items()
    }
