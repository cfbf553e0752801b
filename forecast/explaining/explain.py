"""Explanation of a date.

What drives one pair's date, in sentences that the owner of a shoe can read?
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace

import numpy as np
import pandas as pd

from solespan.forecast.covariates import FLAGS
from solespan.forecast.dates.due_draws import due_draws
from solespan.forecast.dates.reasons import BASES, basis, counts_by_path, long_silent
from solespan.forecast.explaining.drivers import COLUMNS, Driver, drivers
from solespan.forecast.explaining.inspection_value import interval_days, next_checks
from solespan.forecast.explaining.one_pair import OnePair, one_pair
from solespan.forecast.frames import FEET, PROBABLY_GONE
from solespan.forecast.log import WearLog
from solespan.forecast.model.sole_state import SoleState
from solespan.forecast.model.wear_fit import WearFit
from solespan.forecast.model.wear_model import Conditioned
from solespan.forecast.settings import ForecastSettings
from solespan.forecast.use.worn_mostly import worn_mostly

__all__ = ["Explanation", "explain"]

_FEW = 2  # checks on a sole with which its forecast stands on its own feet
_UNDECIDED = (0.4, 0.6)
_YEAR_DAYS = 365.25


@dataclass(frozen=True)
class Explanation:
    """Why a pair's date is what it is.

    sentences : list of str
        For the owner, in the order of reading.
    drivers : DataFrame
        driver, effect_percent, low_percent, high_percent (80 % interval, on wear), note.
    next_checks : DataFrame
        foot, point, method, interval_days_now, interval_days_after; the greatest gain first.

    Examples
    --------
    >>> from solespan.forecast import WearModel, explain, wear_log
    >>> from solespan.synthetic_data.scenarios import world
    >>> made = world("score_world", seed=1, n_pairs=2)
    >>> log = wear_log(**made.frames)
    >>> fit = WearModel(log, as_of="2026-11-23").fit()
    >>> why = explain(fit, log, "P0001", as_of="2026-11-23")
    >>> list(why.next_checks)
    ['foot', 'point', 'method', 'interval_days_now', 'interval_days_after']
    """

    sentences: list[str]
    drivers: pd.DataFrame
    next_checks: pd.DataFrame


def explain(
    fit: WearFit,
    log: WearLog,
    pair_id: str,
    as_of: str | pd.Timestamp,
    settings: ForecastSettings | None = None,
    *,
    known: Conditioned | None = None,
) -> Explanation:
    """Explain one pair's forecast.

    Parameters
    ----------
    fit : WearFit
    log : WearLog
        At least the whole rack of the pair's wearer.
    pair_id : str
    as_of : date-like
        The day of the forecast; nothing later is used.
    settings : ForecastSettings, optional
    known : Conditioned, optional
        Posterior of the wearer's rack on that day, where it is at hand.

    Raises
    ------
    BadFrame
        The log has no such pair.
    TooLittleData
        No sole was on it by `as_of`.

    Examples
    --------
    >>> from solespan.forecast import WearModel, explain, wear_log
    >>> from solespan.synthetic_data.scenarios import world
    >>> made = world("score_world", seed=1, n_pairs=2)
    >>> log = wear_log(**made.frames)
    >>> fit = WearModel(log, as_of="2026-11-23").fit()
    >>> why = explain(fit, log, "P0001", as_of="2026-11-23")
    >>> why.sentences[0].startswith("Thickness at the ball now: left")
    True
    """
    mine = one_pair(fit, log, pair_id, as_of, settings, known)
    found = drivers(mine)
    by_name = {d.driver: d for d in found}
    if len(mine.ball.left):
        sentences = [*_of_sole(mine, by_name), *_of_wear(by_name), *_leaning(mine)]
    else:
        sentences = [
            "No sole is on this pair now, so it has no date; this is about its last sole.",
            *_of_wear(by_name),
        ]
    table = pd.DataFrame([asdict(d) for d in found], columns=list(COLUMNS))
    return Explanation([s for s in sentences if s], table, next_checks(mine))


def _of_sole(mine: OnePair, by_name: dict[str, Driver]) -> list[str]:
    """Say where both shoes stand, which goes first, and what makes the date uncertain."""
    known, feet = mine.known, mine.ball
    state = mine.state
    draws = due_draws(known, feet, state)
    limit = known.panel.limit_mm[feet.left[0]]
    stands = []
    for foot, name in enumerate(FEET):
        low, middle, high = np.maximum(
            np.quantile(draws.thickness_mm[foot, 0] + state.settling_mm[foot, 0], [0.1, 0.5, 0.9]),
            0.0,
        )
        stands.append(f"{name} {middle:.1f} mm ({low:.1f} to {high:.1f})")
    return [
        f"Thickness at the ball now: {', '.join(stands)}; the limit is {limit:.1f} mm.",
        _loss(mine, np.median(draws.rate_mm[:, 0], axis=-1)),
        _first_foot(float(draws.left_first[0]), by_name["foot"]),
        _use_sentence(by_name),
        _season_sentence(mine),
        _uncertainty(mine, state),
    ]


def _loss(mine: OnePair, rate_mm: np.ndarray) -> str:
    """Say how fast the balls wear: by wear days where those are logged, else by the calendar."""
    if not mine.known.panel.unlogged[mine.pair]:
        pace = _both_feet(100.0 * rate_mm)
        return f"In 100 standard wear days (8 hours on dry pavement) the balls lose about {pace}."
    yearly = _both_feet(_YEAR_DAYS * rate_mm * mine.known.ahead.per_day[mine.pair])
    return f"No wear is logged, so the calendar counts: a year takes about {yearly}."


def _both_feet(loss_mm: np.ndarray) -> str:
    return " and ".join(f"{mm:.1f} mm ({name})" for mm, name in zip(loss_mm, FEET, strict=True))


def _first_foot(left_first: float, foot: Driver) -> str:
    if _UNDECIDED[0] < left_first < _UNDECIDED[1]:
        return "It is undecided which shoe will be due first."
    lead = "left" if left_first >= _UNDECIDED[1] else "right"
    chance = max(left_first, 1.0 - left_first)
    how = _size(foot) if foot.note.startswith(lead) else ""
    tail = f"; it wears {how} than the other" if how else ""
    return f"The {lead} shoe will probably be due first (chance {_chance(chance)}){tail}."


def _use_sentence(by_name: dict[str, Driver]) -> str:
    use, season = by_name["use"], by_name["season"]
    text = f"Use: {use.note}"
    if abs(season.effect_percent) >= 10.0:
        text += f"; the season makes it {season.note.removeprefix('about ')}"
    return text + "."


def _season_sentence(mine: OnePair) -> str:
    season = worn_mostly(mine.known.ahead)[mine.pair]
    return f"This pair is worn mostly {season}." if season else ""


def _uncertainty(mine: OnePair, state: SoleState) -> str:
    """Say whether use or wear makes the date uncertain: the interval if use were as expected."""
    whole = float(interval_days(mine, [state])[0])
    ahead = replace(mine.known.ahead, error=(0.0, 0.0, 0.0, 0.0))
    surely = replace(mine, known=replace(mine.known, ahead=ahead))
    wear = float(interval_days(surely, [state])[0])
    if whole < 1.0:
        return ""
    if wear < 0.5 * whole:
        return (
            "Most of the uncertainty is how often the pair will be worn; checks narrow it little."
        )
    if wear > 0.85 * whole:
        return "Most of the uncertainty is how fast the soles wear; a check narrows it."
    return "The uncertainty comes from how fast the soles wear and from how often they are worn."


def _of_wear(by_name: dict[str, Driver]) -> list[str]:
    """Say what makes the pair wear faster or slower."""
    out = []
    material = by_name["material"]
    if material.effect_percent:
        what, against = material.note.split(" against ")
        out.append(f"The sole is {what}, which wears {_size(material)} than {against}.")
    else:
        out.append(f"The sole is {material.note.split(',')[0]}.")
    wearer = by_name["wearer"]
    if wearer.clear:
        out.append(f"This wearer's soles wear {_size(wearer)} than the average wearer's.")
    else:
        out.append(f"This wearer is near the average as far as is known ({_between(wearer)}).")
    pair = by_name["pair"]
    if pair.clear:
        out.append(f"This pair wears {_size(pair)} than the wearer's other pairs would.")
    driving = by_name["driving foot"]
    if np.isfinite(driving.effect_percent):
        foot = driving.note.split()[0]
        sure = (
            f"wears {_size(driving)}"
            if driving.clear
            else f"makes no clear difference ({_between(driving)})"
        )
        out.append(f"The driving foot ({foot}) {sure} at the ball, over everybody who drives.")
    for covariate in FLAGS.values():
        ground = by_name.get(covariate.days)
        if ground is not None and abs(ground.effect_percent) >= 1.0:
            verb = "add" if ground.effect_percent > 0 else "save"
            out.append(
                f"{covariate.days.capitalize()} {verb} about "
                f"{abs(ground.effect_percent):.0f} % of wear: {ground.note}."
            )
    return out


def _leaning(mine: OnePair) -> list[str]:
    """Say what the forecast is based on where the pair's own checks are few."""
    known, panel = mine.known, mine.known.panel
    seen = counts_by_path(known).iloc[np.concatenate([mine.ball.left, mine.ball.right])]
    total = seen.sum()
    checks = int(total["readings"] + total["thumbs"])
    out = []
    if total["holes"]:
        out.append("A hole was seen: stop wearing the pair.")
    elif checks < _FEW:
        leans_on = BASES[basis(panel)[mine.pair]]
        few = "No check" if not checks else "One check"
        out.append(f"{few} of this sole yet, so the date is based mostly on {leans_on}.")
    if total["slips"]:
        many = int(total["slips"])
        what = "1 reading is" if many == 1 else f"{many} readings are"
        out.append(f"{what} ignored as a likely misreading.")
    if panel.unlogged[mine.pair] and not np.isnan(panel.pace_sd[mine.pair]):
        who = "The few wears logged, and the owner," if panel.pair_wears[mine.pair] else "The owner"
        out.append(f"{who} told how often the pair is worn; the forecast uses that.")
    in_use = float(known.in_use[mine.pair])
    if in_use < PROBABLY_GONE:
        out.append(
            f"The pair is probably no longer in use (chance in use {_chance(in_use)}): "
            "nobody was seen for longer than its soles last."
        )
    if long_silent(panel)[mine.ball.left[0]]:
        out.append("Nothing was logged for a long time, so the wear in that time is a guess.")
    return out


def _size(driver: Driver) -> str:
    """`about 20 % faster (5 to 37 %)`."""
    word = "faster" if driver.effect_percent >= 0 else "slower"
    between = _between(driver).removesuffix(f" {word}") if driver.clear else _between(driver)
    return f"about {abs(driver.effect_percent):.0f} % {word} ({between})"


def _between(driver: Driver) -> str:
    low, high = driver.low_percent, driver.high_percent
    if low >= 0.0:
        return f"{low:.0f} to {high:.0f} % faster"
    if high <= 0.0:
        return f"{-high:.0f} to {-low:.0f} % slower"
    return f"{-low:.0f} % slower to {high:.0f} % faster"


def _chance(chance: float) -> str:
    return "over 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"
