"""Thumb page: which point is felt next in a guided thumb check, and what was felt so far?

The waist of each shoe comes first. Under the arch a sole hardly wears, so it is the reference for
the other points (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from solespan.dashboards import wording
from solespan.forecast.frames import FEET, GRADES, METHODS

__all__ = ["STEPS", "taught_words", "thumb_form", "thumb_page"]

ORDER = ("waist", "ball", "toe", "heel")
SKIP = "skip"
_EIGHT_IN_TEN = 1.28  # SDs on either side that hold eight in ten of a normal
_LITTLE = 0.02
GRADE_WORDS = {
    "firm": "does not move under the thumb",
    "give": "moves a little, springs back",
    "soft": "flexes easily, spongy",
    "hole": "worn through, or cork shows",
}
WHERE = {
    "waist": "Under the arch. It hardly wears. Remember how it feels: the other spots are compared "
    "with it.",
    "ball": "The middle of the forepart, where a hole comes first.",
    "toe": "The very front.",
    "heel": "The rear outer corner of the top piece.",
}


@dataclass(frozen=True)
class Step:
    """One point of one shoe; `field` is its name in forms."""

    foot: str
    point: str

    @property
    def field(self) -> str:
        """Name of the answer: left-ball."""
        return f"{self.foot}-{self.point}"


STEPS = tuple(Step(foot, point) for foot in FEET for point in ORDER)


def thumb_page(
    answers: Mapping[str, str],
    *,
    errors: Mapping[str, str] | None = None,
    replaceable: bool = False,
) -> dict[str, Any]:
    """Gather one step of the check, or its end.

    Parameters
    ----------
    answers : mapping
        A grade or `skip` by `Step.field`; `at` names a step to go back to; `end` = stop asking;
        `checked_on` the day. Anything else is left aside.
    errors : mapping, optional
        What kept the check from being logged, by field.
    replaceable : bool
        Whether other grades stand at this day, which these may replace.
    """
    known = {s.field: answers[s.field] for s in STEPS if answers.get(s.field) in (*GRADES, SKIP)}
    back = next((s for s in STEPS if s.field == answers.get("at")), None)
    open_steps = [s for s in STEPS if s.field not in known]
    step = back or (None if answers.get("end") else next(iter(open_steps), None))
    felt = [s for s in STEPS if known.get(s.field, SKIP) != SKIP]
    if step is None and not felt and not errors:
        step = open_steps[0] if open_steps else STEPS[0]
    return {
        "step": None if step is None else _asked(step, known),
        "kept": {
            field: grade for field, grade in known.items() if step is None or field != step.field
        },
        "felt": [
            {"field": s.field, "foot": s.foot, "point": s.point, "grade": known[s.field]}
            for s in felt
        ],
        "grades": [(grade, GRADE_WORDS[grade]) for grade in GRADES],
        "checked_on": answers.get("checked_on", ""),
        "errors": dict(errors or {}),
        "replaceable": replaceable,
        "hole": any(known[s.field] == "hole" for s in felt),
    }


def thumb_form(
    typed: Mapping[str, str],
    *,
    errors: Mapping[str, str],
    replaceable: bool,
    question: str = "",
    cuts: Mapping[str, float] | None = None,
) -> dict[str, Any]:
    """Gather all spots on one page, each with the answer that was typed.

    Parameters
    ----------
    question : str
        Why the grades are odd beside the thickness, where they are.
    cuts : mapping, optional
        What is known of this owner's thumb; fields of `forecast.explaining.thumb_cuts.ThumbCuts`.
    """
    return {
        "pair": typed.get("pair", ""),
        "spots": [
            {
                "field": step.field,
                "word": f"{step.foot.capitalize()}, {step.point}",
                "grade": typed.get(step.field, SKIP),
            }
            for step in STEPS
        ],
        "grades": [(SKIP, "not felt"), *((grade, grade) for grade in GRADES)],
        "read": {foot: typed.get(foot, "") for foot in FEET},
        "gauges": [(word, wording.spaced(word)) for word in METHODS if word != "thumb"],
        "method": typed.get("method", ""),
        "question": question,
        "thumb": "" if cuts is None else taught_words(None, cuts),
        "checked_on": typed.get("checked_on", ""),
        "errors": dict(errors),
        "replaceable": replaceable,
    }


def taught_words(before: Mapping[str, float] | None, now: Mapping[str, float] | None) -> str:
    """Say where an owner's thumb goes from one grade to the next, and how sure that is.

    Parameters
    ----------
    before, now : mapping, optional
        Fields of `forecast.explaining.thumb_cuts.ThumbCuts`, mm; None without a forecast.
    """
    if now is None:
        return "There is no forecast yet; the next fit learns from it."
    firm, soft, sure = now["firm_from_mm"], now["give_from_mm"], _EIGHT_IN_TEN * now["sd_mm"]
    said = (
        f"Your thumb says firm from about {firm:.1f} mm, and soft under about {soft:.1f} mm, "
        f"give or take {sure:.1f} mm."
    )
    if before is None:
        return said
    less = 1.0 - now["sd_mm"] / before["sd_mm"]
    if less < _LITTLE:
        return f"{said} This press taught little; press a sole of 2 to 4 mm."
    return f"{said} That is {less:.0%} narrower than before."


def _asked(step: Step, known: Mapping[str, str]) -> dict[str, Any]:
    number = STEPS.index(step)
    waist = known.get(f"{step.foot}-waist", SKIP)
    return {
        "field": step.field,
        "number": number + 1,
        "of": len(STEPS),
        "foot": step.foot,
        "point": step.point,
        "where": WHERE[step.point],
        "before": STEPS[number - 1].field if number else "",
        "waist": "" if step.point == "waist" or waist == SKIP else wording.spaced(waist),
        "may_end": any(grade != SKIP for grade in known.values()),
    }
