"""Look back on asking: of the pairs that would have been asked, how many proved due soon after?

A pair proved due when it was handed over for a new sole, or when a look found it at its limit. That
counts until so many days after the day asked for. All others count as not due, also those nobody
heard of again.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from solespan.forecast.backtesting.outcomes import outcomes
from solespan.forecast.frames import PROBABLY_GONE
from solespan.forecast.log import WearLog
from solespan.forecast.workload.asking_rules import asking_rules, ended_lives, facts_of_log
from solespan.forecast.workload.year_scale import YEAR_DAYS

__all__ = ["PROVED_DAYS", "asked_pairs", "proved_due"]

PROVED_DAYS = 180
_AT_REST = ("away", "retired")


def asked_pairs(known: WearLog, said: pd.DataFrame, day: pd.Timestamp) -> pd.DataFrame:
    """Say which pairs would have been asked for a day of the year after a day.

    Parameters
    ----------
    known : WearLog
        What was known then.
    said : DataFrame
        The forecast of then, columns `frames.FORECAST`.

    Returns
    -------
    DataFrame
        `pair_id`, `ask_on`: the send-by day, or the day itself where that is past.
    """
    main = said[(said["foot"] == "pair") & (said["point"] == "ball")]
    main = main[~main["band"].isin(_AT_REST) & main["send_by"].notna()]
    main = main[~(main["chance_in_use"] < PROBABLY_GONE)]
    ask_on = main["send_by"].where(main["send_by"] > day, day)
    rules = asking_rules(main, facts_of_log(known), ended_lives(known.soles))
    keep = rules.left_out(ask_on.to_numpy().astype("datetime64[D]")) == ""
    keep &= ((ask_on - day).dt.days < YEAR_DAYS).to_numpy()
    asked = {"pair_id": main["pair_id"].to_numpy()[keep], "ask_on": ask_on.to_numpy()[keep]}
    return pd.DataFrame(asked)


def proved_due(
    log: WearLog, known: WearLog, said: pd.DataFrame, day: pd.Timestamp
) -> tuple[int, int]:
    """Count the pairs that would have been asked, and those of them that proved due."""
    asked = asked_pairs(known, said, day)
    later = outcomes(log, day).set_index("pair_id")["by_days"]
    by = asked["pair_id"].map(later).to_numpy(float)
    last = (asked["ask_on"] - day).dt.days.to_numpy(float) + PROVED_DAYS
    return len(asked), int(np.sum(by <= last))
