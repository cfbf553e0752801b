"""Pace of requests (fixed window): how many may one sender, or one link, send in a minute?"""

from __future__ import annotations

import threading
import time
from collections.abc import Hashable
from dataclasses import dataclass, field

__all__ = ["WINDOW_S", "Pace"]

WINDOW_S = 60


@dataclass
class Pace:
    """Counts of this minute by sender, up to `per_minute` each."""

    per_minute: int
    begun: float = 0.0
    counts: dict[Hashable, int] = field(default_factory=dict)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def too_fast(self, sender: Hashable) -> bool:
        """Count a request; return whether it is one too many."""
        now = time.monotonic()
        with self.lock:
            if now - self.begun >= WINDOW_S:
                self.begun, self.counts = now, {}
            self.counts[sender] = self.counts.get(sender, 0) + 1
            return self.counts[sender] > self.per_minute
