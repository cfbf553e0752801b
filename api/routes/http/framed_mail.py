"""Preview of a mail: under which policy may our own page show it in a frame?"""

from __future__ import annotations

__all__ = ["MAIL_POLICY"]

# A mail has inline styles. In the frame it has no origin (sandbox) and can load nothing.
MAIL_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'self'; sandbox"
)
