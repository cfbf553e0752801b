"""Audit log: what was changed by whom, newest first."""

from __future__ import annotations

from solespan.api.storage.audit import list_audit

__all__ = ["list_audit"]
