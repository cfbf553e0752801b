"""Own rack page: what does a customer read of each pair, in words of their language?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import pandas as pd
from markupsafe import Markup

from solespan.dashboards.cautions import FOR_WEARERS
from solespan.dashboards.language import Language, gettext_noop
from solespan.dashboards.pages.accounts.own_order import order_words
from solespan.dashboards.pages.bench.free_days import offered_words
from solespan.dashboards.pages.notices.outside import grade_words
from solespan.dashboards.pages.rack.pictures import picture_of
from solespan.dashboards.wears_left import wears_in_words

__all__ = ["own_rack_page"]

DONE = {
    "wear": gettext_noop("The wear is logged. Thank you."),
    "already": gettext_noop("That day was logged already; nothing changed."),
    "agreed": gettext_noop("Thank you. We work as you agreed."),
    "checked": gettext_noop("Thank you. The dates follow what you felt."),
    "booked": gettext_noop("Thank you. Your pair is booked in."),
    "choices": gettext_noop("Your choices are kept."),
}
MATERIALS = {
    "oak_bark_leather": gettext_noop("oak bark leather"),
    "veg_tan_leather": gettext_noop("vegetable-tanned leather"),
    "flexible_leather": gettext_noop("flexible leather"),
    "rubber": gettext_noop("rubber"),
    "studded_rubber": gettext_noop("studded rubber"),
    "lug_rubber": gettext_noop("rubber with lugs"),
    "crepe": gettext_noop("crepe"),
    "microcellular": gettext_noop("light foam rubber"),
}
OPEN = ("booked", "in_post", "received", "on_bench", "checked", "posted_back")


def own_rack_page(
    mine: Mapping[str, Any],
    told: Mapping[str, Mapping[str, Any]],
    language: Language,
    *,
    today: date,
    done: str = "",
) -> dict[str, Any]:
    """Gather a customer's page.

    Parameters
    ----------
    mine : mapping
        `wearer`, `pairs`, `soles`, `forecast` (a frame), `orders`, `pictures`, `offered`.
    told : mapping
        By pair, in words: `when`, `sure`, `bring_by` (of pairs with a forecast) and `felt`.
    """
    rows = {row["pair_id"]: row for row in _at_the_ball(mine["forecast"])}
    pairs = [_pair(pair, mine, rows, told, today, language) for pair in mine["pairs"]]
    pairs.sort(key=lambda pair: (not pair["order"], pair["rest"], pair["send_by"]))
    return {
        "name": mine["wearer"]["name"] or "",
        "pairs": pairs,
        "done": language.gettext(DONE.get(done, "")),
        "cautions": FOR_WEARERS,
        "grades": grade_words(language),
    }


def _at_the_ball(forecast: pd.DataFrame) -> list[dict[Any, Any]]:
    whole = (forecast["foot"] == "pair") & (forecast["point"] == "ball")
    return forecast[whole].to_dict("records")


def _pair(
    pair: Mapping[str, Any],
    mine: Mapping[str, Any],
    rows: Mapping[str, Mapping[str, Any]],
    told: Mapping[str, Mapping[str, Any]],
    today: date,
    language: Language,
) -> dict[str, Any]:
    pair_id = pair["pair_id"]
    row = rows.get(pair_id, {})
    orders = [order for order in mine["orders"] if order["pair_id"] == pair_id]
    open_ = next((order for order in orders if order["stage"] in OPEN), None)
    band, send_by = row.get("band"), row.get("send_by")
    known = send_by is not None and not pd.isna(send_by)
    return {
        "pair_id": pair_id,
        "label": pair["label"] or language.gettext("Your pair"),
        "picture": _picture(pair, mine["pictures"].get(pair_id)),
        "order": order_words(open_, today, language) if open_ else None,
        "rest": band in ("away", "retired"),
        "stop": band == "stop wearing",
        "send_by": pd.Timestamp(str(send_by)).date() if known else date.max,
        "dates": told[pair_id] if row and band not in ("away", "retired") else None,
        "felt": told[pair_id]["felt"],
        "offered": offered_words(mine["offered"].get(pair["construction"]), language),
        "wears": _wears(row, language),
        "soles": [_sole(sole, language) for sole in _newest(mine["soles"], pair_id)],
        "photographs": [one for order in orders for one in _photographs(order, language)],
    }


def _picture(pair: Mapping[str, Any], photo_id: str | None) -> Markup:
    if photo_id is None:
        return picture_of(pair)
    return Markup(
        '<img class="pic" src="/my/photographs/{}" width="96" height="72" alt="" decoding="async">'
    ).format(photo_id)


def _wears(row: Mapping[str, Any], language: Language) -> str:
    known = wears_in_words(row)
    if known is None:
        return ""
    middle, low, high = known
    said = language.ngettext("about %(num)s wear left", "about %(num)s wears left", middle)
    if low == high:
        return said
    spread = language.gettext(
        "%(low)s to %(high)s", low=language.number(low), high=language.number(high)
    )
    return f"{said} ({spread})"


def _newest(soles: list[dict[str, Any]], pair_id: str) -> list[dict[str, Any]]:
    own = [sole for sole in soles if sole["pair_id"] == pair_id]
    return sorted(own, key=lambda sole: sole["fitted_on"], reverse=True)


def _sole(sole: Mapping[str, Any], language: Language) -> str:
    """Say one sole: since when, until when, of what."""
    say = language.gettext
    first = language.long_date(pd.Timestamp(sole["fitted_on"]).date())
    if pd.isna(sole["removed_on"]):
        said = say("Since %(first)s", first=first)
    else:
        last = language.long_date(pd.Timestamp(sole["removed_on"]).date())
        said = say("%(first)s to %(last)s", first=first, last=last)
    thickness = language.number(sole["nominal_thickness_mm"], 1)
    return f"{said}: {say(MATERIALS[sole['material']])}, {thickness} mm"


def _photographs(order: Mapping[str, Any], language: Language) -> list[dict[str, str]]:
    """Say of each photograph whether it was taken before, during or after the work."""
    began = [at for at, stage, _ in order["steps"] if stage == "on_bench"]
    ended = [at for at, stage, _ in order["steps"] if stage == "checked"]
    shown = []
    for one in order["photographs"]:
        if ended and one["taken_in"] >= ended[-1]:
            word = language.gettext("After the work")
        elif began and one["taken_in"] >= began[0]:
            word = language.gettext("During the work")
        else:
            word = language.gettext("Before the work")
        day = language.long_date(one["taken_in"].date())
        shown.append({"photo_id": one["photo_id"], "word": f"{word}, {day}"})
    return shown
