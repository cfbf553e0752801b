"""Language of a customer: which one is a customer written to in, and what is it called?"""

from __future__ import annotations

from solespan.dashboards.language import LANGUAGES, Language, language_of

__all__ = ["LANGUAGES", "Language", "language_of"]
