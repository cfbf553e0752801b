"""Reference data service.

What does the database already know about the wearers and pairs that the files name?

Read once before the rows are judged, and only for the ids that the files name.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.services.interchange.drafts import Draft
from solespan.api.services.shop_choices import shop_time_zone
from solespan.api.storage.importing.bulk import stored_rows
from solespan.forecast.frames import TABLES

__all__ = ["KnownRecords", "complete", "known_records"]

OF_PAIRS = ("soles", "wear_days", "checks", "bench_jobs", "layers")


@dataclass
class KnownRecords:
    """The files' rows beside the stored ones.

    `stored` has for each table the rows that matter here, with their number `pk`; `today` gives the
    calendar day in a time zone.
    """

    drafts: dict[str, Draft]
    stored: dict[str, pd.DataFrame]
    today: Callable[[str], date]
    shop_zone: str = "UTC"

    @cached_property
    def zone_of_wearer(self) -> dict[str, str]:
        """The time zone of each wearer that a file or the database knows."""
        known = self.stored["wearers"]
        zones = dict(zip(known["wearer_id"], known["time_zone"], strict=True))
        draft = self.drafts.get("wearers")
        if draft:
            taken = draft.taken
            zones |= dict(zip(taken["wearer_id"], taken["time_zone"], strict=True))
        return zones

    @cached_property
    def wearer_of_pair(self) -> dict[str, str]:
        """Whose each pair is, once the files are taken."""
        known = self.stored["pairs"]
        owners = dict(zip(known["pair_id"], known["wearer_id"], strict=True))
        draft = self.drafts.get("pairs")
        if draft:
            taken = draft.taken
            owners |= dict(zip(taken["pair_id"], taken["wearer_id"], strict=True))
        return owners

    def beside(self, draft: Draft, stored: pd.DataFrame) -> KnownRecords:
        """Return the same records with some rows of one more file and what is stored of them."""
        name = draft.table.name
        more = replace(
            self, drafts=self.drafts | {name: draft}, stored=self.stored | {name: stored}
        )
        more.zone_of_wearer, more.wearer_of_pair = self.zone_of_wearer, self.wearer_of_pair
        return more

    def todays(self, draft: Draft) -> npt.NDArray[np.datetime64]:
        """Return for each row of a file which day it is now where its wearer lives."""
        days: dict[str, np.datetime64] = {}

        def day_of(wearer_id: str | None) -> np.datetime64:
            zone = self.zone_of_wearer.get(wearer_id or "", self.shop_zone)
            if zone not in days:
                days[zone] = np.datetime64(self.today(zone), "s")
            return days[zone]

        if draft.table.name == "pairs":
            owners = draft.frame["wearer_id"]
        else:
            owners = draft.frame["pair_id"].map(self.wearer_of_pair)
        codes, names = pd.factorize(owners.to_numpy(dtype=object))
        each = np.array([day_of(name) for name in names] + [day_of(None)], dtype="datetime64[s]")
        return each[codes]


def known_records(
    session: Session,
    drafts: dict[str, Draft],
    pair_ids: Collection[str],
    today: Callable[[str], date],
) -> KnownRecords:
    """Read what the database knows of everything that the files name.

    `pair_ids` are those that files beside the drafts name.
    """
    named = [set(d.frame["pair_id"].dropna()) for name, d in drafts.items() if name != "wearers"]
    pair_ids = set(pair_ids).union(*named)
    stored = {"pairs": stored_rows(session, "pairs", "pair_id", pair_ids)}
    wearer_ids = set(stored["pairs"]["wearer_id"])
    for name in ("wearers", "pairs"):
        if name in drafts:
            wearer_ids |= set(drafts[name].frame["wearer_id"].dropna())
    stored["wearers"] = stored_rows(session, "wearers", "wearer_id", wearer_ids)
    of_pairs = set(stored["pairs"]["pair_id"])
    # Soles and jobs of every pair named: they decide what wear and checks can be true.
    for name in ("soles", "bench_jobs", *(["layers"] if "layers" in drafts else [])):
        rows = stored_rows(session, name, "pair_id", of_pairs)
        key = TABLES[name].key[0]
        if name in drafts:
            elsewhere = set(drafts[name].frame[key].dropna()) - set(rows[key])
            others = stored_rows(session, name, key, elsewhere)
            rows = pd.concat([rows, others], ignore_index=True) if len(others) else rows
        stored[name] = rows
    for name, draft in drafts.items():
        complete(draft, stored[name])
    shop_zone = shop_time_zone(session)
    if "wearers" in drafts:
        frame = drafts["wearers"].frame
        frame["time_zone"] = frame["time_zone"].where(frame["time_zone"].notna(), shop_zone)
    return KnownRecords(drafts, stored, today, shop_zone)


def complete(draft: Draft, stored: pd.DataFrame) -> None:
    """Give columns that the file does not have what is stored; an empty cell stays empty."""
    key = list(draft.table.key)
    lacking = [
        column.name
        for column in draft.table.stored
        # A check's thickness and grade exclude each other: what the file gives stands alone.
        if column.name not in draft.given and column.name not in ("value_mm", "grade", "lug_mm")
    ]
    if not lacking or stored.empty:
        return
    beside = draft.frame[key].join(stored.set_index(key)[[*lacking, "pk"]], on=key)
    known = beside["pk"].notna()
    for name in lacking:
        draft.frame[name] = draft.frame[name].where(~known, beside[name])
