"""Stopping: how does a program end in time, whatever is still at hand?

What was acknowledged is committed. What is left behind is rolled back, or done again by the next
worker, so nothing is lost when the time is over.
"""

from __future__ import annotations

import os
import sys
from threading import Timer

__all__ = ["LONGEST_END_S", "end_within"]

LONGEST_END_S = 9.0  # service managers wait ten seconds and more before they kill


def end_within(seconds: float) -> None:
    """End this process after so many seconds, unless it ends by itself before."""
    timer = Timer(seconds, _end)
    timer.daemon = True
    timer.start()


def _end() -> None:
    sys.stderr.flush()
    os._exit(0)
