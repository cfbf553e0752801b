"""Author of a change: who changes something, and by which action?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

__all__ = ["TERMINAL", "Author"]

TERMINAL = "the terminal"  # the person who runs a command


@dataclass(frozen=True)
class Author:
    """Who changes something, and how: written to the audit log with every change."""

    actor: str
    action: str
    subject: Mapping[str, Any] = field(default_factory=dict)
