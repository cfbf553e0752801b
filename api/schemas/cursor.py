"""Cursor of a list: which text names the row after which the next page begins?"""

from __future__ import annotations

import base64
import json
from collections.abc import Sequence
from datetime import date
from typing import Any

__all__ = ["cursor_of"]


def cursor_of(parts: Sequence[Any]) -> str:
    """Pack the sort key of a page's last row into the text that `after` takes."""
    text = json.dumps([p.isoformat() if isinstance(p, date) else p for p in parts])
    return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")
