"""OpenAPI words: what does the description say of the whole API, and of each subject?"""

from __future__ import annotations

__all__ = ["ABOUT", "LICENCE", "TAGS"]

# Nothing grants more, so the default of the law holds; SPDX has no word of its own for it.
LICENCE = {"name": "All rights reserved", "identifier": "LicenseRef-all-rights-reserved"}

ABOUT = """\
When does each pair of leather-soled shoes need a new sole?

**Senders.** With accounts, a program sends `Authorization: Bearer` and its key. The words beside a
scheme are what the sender must be allowed to do. Without accounts, nobody signs in.

**Errors.** Every error is a problem document (RFC 9457). `/problems` explains each type.

**Changes.** A change names the version that it changes: send the record's `ETag` in `If-Match`.
Each `POST` takes an `Idempotency-Key`: the same key again within 24 hours gets the same answer.
`PATCH` takes a JSON merge patch (RFC 7396): a field left out stays, and null takes a value away.

**Lists.** A list answers `next`, and a `Link` header with `rel="next"` (RFC 8288). The last page
has neither.

**Batches.** `POST .../batch` writes several records of one kind: all of them, or none. A batch
holds at most 500 rows, and a body at most 64 KiB. Larger sets are imported.

**Methods.** Each address that takes `GET` takes `HEAD` too. `OPTIONS` answers all methods in
`Allow`.
"""

TAGS = {
    "rack": "Wearers, pairs, soles, wear days, checks, and the history of each.",
    "importing": "Files of logs: what was read, what was refused, and how to undo it.",
    "forecasts": "The fit, and when each sole is due.",
    "planning": "The plan of a rack, what-if, ways to a new sole, care, and the calendar.",
    "bench": "Jobs, orders, quotes, stock, and the workload of a repairer.",
    "notices": "Rules, wording and consents; notices to customers, and what became of each.",
    "accounts": "Members, keys, second factors, customers and the audit.",
    "service": "Whether the service is well, and what its errors mean.",
}
