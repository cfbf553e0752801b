"""How honest is a forecast of one owner's small rack, fitted alone?

Six worlds of about 12 owners with one to six pairs, for each way of looking (with --quick one).
About 25 minutes on two shared cores.
"""

from __future__ import annotations

from tests.recovery.pooled import Share
from tests.recovery.solo import OWNERS_LOOK, figures_of, score_many

Row = dict[str, object]
SEEDS = range(9001, 9007)


def run(quick: bool) -> list[Row]:
    """Rows of every figure, by how the owners look."""
    return [row for look in OWNERS_LOOK for row in rows_of(look, SEEDS[:1] if quick else SEEDS)]


def rows_of(look: str, seeds: range) -> list[Row]:
    """Rows of owners who look in one way."""
    found = figures_of(score_many(look, seeds))

    def row(name: str, share: Share, bar: str) -> Row:
        note = f"SE {share.error:.3f}, {share.rows} pairs of {found.racks} racks; bar {bar}"
        return {"name": f"{look}: {name}", "value": share.value, "unit": "share", "note": note}

    return [
        row("past the limit on the send-by day", found.past_limit, "0.08 to 0.12"),
        row("80 % interval holds", found.held_80, "0.76 to 0.84"),
        row("50 % interval holds", found.held_50, "0.47 to 0.55"),
        {
            "name": f"{look}: CRPS",
            "value": found.crps,
            "unit": "days",
            "note": f"{found.racks} racks",
        },
    ]
