"""Data contract: which columns does each table have, in which unit, and which values can be true?

The one contract between the folders of this project: files, database, simulator, model and pages
all take names, words and bounds from here. `TABLES` describes what is logged (and the interchange
files of the same names); `FORECAST` and `PATH` describe what the library answers.
"""

from __future__ import annotations

from solespan.forecast.columns import Column, Table
from solespan.forecast.covariates import CONDITIONS, LOGGED, SURFACES

__all__ = [
    "BANDS",
    "CHECKS",
    "CONDITIONS",
    "FORECAST",
    "PATH",
    "SURFACES",
    "TABLES",
    "WEAR_DAYS",
    "Column",
    "Table",
]

FEET = ("left", "right")
POINTS = ("ball", "toe", "heel", "waist")
WEARING_POINTS = ("ball", "toe", "heel")
METHODS = ("caliper", "depth_gauge", "ultrasonic", "thumb")
GRADES = ("firm", "give", "soft", "hole")
DRIVING_FEET = ("left", "right", "both", "none")
CONSTRUCTIONS = (
    "goodyear_welted",
    "hand_welted",
    "blake",
    "blake_rapid",
    "norwegian",
    "stitchdown",
    "cemented",
)
KINDS = ("men", "women", "children", "boots")
DRESS_CODES = ("formal", "business", "casual", "outdoor")
SHOE_FORMS = ("oxford", "wholecut", "derby", "monk", "loafer", "boot", "chelsea")
MATERIALS = (
    "oak_bark_leather",
    "veg_tan_leather",
    "flexible_leather",
    "rubber",
    "studded_rubber",
    "lug_rubber",
    "crepe",
    "microcellular",
)
WORKS = (
    "full_sole",
    "half_sole",
    "top_piece",
    "toe_plate",
    "rewelt",
    "heel_block",
    "guard",
    "toe_piece",
    "restitch",
    "shank",
    "sock",
)
# How much of the bottom a sole covers; a guard lies over the sole and does not end it.
COVERS = ("full", "half", "guard")
# Layers beside the sole; what lies on the ground, a guard too, is a sole.
LAYERS = (
    "sock", "lining", "insole", "filler", "shank", "welt", "midsole",
    "lifts", "top_piece", "toe_piece", "toe_plate",
)  # fmt: skip
LAYER_MATERIALS = (
    "leather", "rubber", "combination", "cork", "felt", "board", "canvas", "steel", "wood",
    "glass_fibre", "plastic",
)  # fmt: skip
SEAMS = ("none", "inseam", "aloft", "blake", "storm", "round", "glued")
BANDS = ("sound", "watch", "book in", "stop wearing", "away", "retired")

MAX_THICKNESS_MM = 40.0
MAX_LAYER_MM = 100.0  # a heel stack is the highest
MAX_HOURS_PER_DAY = 24.0
MAX_WEARS_PER_WEEK = 7.0
STANDARD_HOURS_PER_WEAR_DAY = 8.0
PROBABLY_GONE = 0.5  # chance in use below which a pair is told of as gone


def _id(name: str, meaning: str) -> Column:
    return Column(name, "id", meaning, required=True)


WEARERS = Table(
    "wearers",
    ("wearer_id",),
    (
        _id("wearer_id", "stable identifier of the wearer"),
        Column("name", "text", "what the wearer is called"),
        Column("time_zone", "text", "IANA name of the wearer's time zone", default="UTC"),
        Column("driving_foot", "word", "foot that turns on the car's floor", words=DRIVING_FEET),
        Column("email", "text", "address for notices"),
        Column("phone", "text", "telephone number, as the wearer wrote it"),
        Column("language", "text", "ISO 639-1 code of the language for notices"),
        Column(
            "wears_per_week",
            "number",
            "how often any pair of this rack is worn, as the wearer states it",
            "wear days per week",
            low=0,
            high=MAX_WEARS_PER_WEEK,
        ),
        Column("notes", "text", "free text about the wearer"),
        Column("dress_week", "text", "dress codes of the days from Monday on, separated by spaces"),
    ),
)

PAIRS = Table(
    "pairs",
    ("pair_id",),
    (
        _id("pair_id", "stable identifier of the pair"),
        _id("wearer_id", "id of its wearer"),
        Column("label", "text", "what the owner calls the pair"),
        Column(
            "construction",
            "word",
            "how the sole is held",
            required=True,
            words=CONSTRUCTIONS,
        ),
        Column("dress_code", "word", "occasions it is for", words=DRESS_CODES),
        Column("size_eu", "number", "size on the European scale", "EU size", low=15, high=55),
        Column("acquired_on", "date", "day the pair was acquired"),
        Column("price_minor", "integer", "price paid", "minor unit of currency", low=0),
        Column("currency", "text", "ISO 4217 code of the price"),
        Column("earlier_resoles", "integer", "resoles before the first sole here", low=0, high=30),
        Column(
            "wears_per_week",
            "number",
            "how often the pair is worn, as the owner states it",
            "wear days per week",
            low=0,
            high=MAX_WEARS_PER_WEEK,
        ),
        Column("in_use_on", "date", "last day on which the owner said that it is still worn"),
        Column("notes", "text", "free text about the pair"),
        Column("maker", "text", "who made the pair"),
        Column("last", "text", "the last it was made on"),
        Column("colour", "text", "colour of the upper leather"),
        Column("form", "word", "form of the shoe, for its drawn picture", words=SHOE_FORMS),
        Column("tags", "text", "words of the owner's own, separated by commas"),
        Column("size_uk", "number", "size on the British scale", "UK size", low=0, high=20),
        Column("size_us", "number", "size on the American scale", "US size", low=0, high=22),
        Column("kind", "word", "weight it is built for; empty = men", words=KINDS),
    ),
    must_exist=True,
)

SOLES = Table(
    "soles",
    ("sole_id",),
    (
        _id("sole_id", "stable identifier of the sole"),
        _id("pair_id", "the pair it is on"),
        Column("fitted_on", "date", "day the sole was fitted", required=True),
        Column("material", "word", "what the outsole is made of", required=True, words=MATERIALS),
        Column(
            "nominal_thickness_mm",
            "number",
            "thickness when new, as sold",
            "mm",
            required=True,
            low=0,
            high=MAX_THICKNESS_MM,
        ),
        Column(
            "nominal_thickness_iron",
            "number",
            "thickness when new, as sold",
            "iron",
            low=0,
            high=MAX_THICKNESS_MM * 48 / 25.4,
            iron_of="nominal_thickness_mm",
        ),
        Column(
            "limit_mm",
            "number",
            "thickness at which the ball should be resoled; empty = default by material",
            "mm",
            low=0,
            high=MAX_THICKNESS_MM,
        ),
        Column("cover", "word", "how much of the bottom it covers", words=COVERS),
        Column("channel", "word", "how the stitch lies", words=("closed", "open", "none")),
        Column(
            "assumed",
            "flag",
            "material, thickness when new or day of fitting is assumed, not known",
            default=False,
        ),
        Column("removed_on", "date", "day the sole was taken off"),
        Column("continues", "text", "sole that it is, from before a guard came off it"),
    ),
    must_exist=True,
)

WEAR_DAYS = Table(
    "wear_days",
    ("pair_id", "worn_on"),
    (
        _id("pair_id", "the pair worn"),
        Column("worn_on", "date", "calendar day in the wearer's time zone", required=True),
        Column(
            "hours",
            "number",
            "time worn; empty = from the steps, else 8",
            "h",
            low=0,
            high=MAX_HOURS_PER_DAY,
        ),
        *(one.column for one in LOGGED),
    ),
)

CHECKS = Table(
    "checks",
    ("pair_id", "checked_on", "foot", "point", "method"),
    (
        _id("pair_id", "the pair looked at"),
        Column("checked_on", "date", "day of the check", required=True),
        Column("foot", "word", "which shoe", required=True, words=FEET),
        Column("point", "word", "where on the sole", required=True, words=POINTS),
        Column("method", "word", "method of the check", required=True, words=METHODS),
        Column("value_mm", "number", "thickness read", "mm", low=0, high=MAX_THICKNESS_MM),
        Column(
            "value_iron",
            "number",
            "thickness read",
            "iron",
            low=0,
            high=MAX_THICKNESS_MM * 48 / 25.4,
            iron_of="value_mm",
        ),
        Column("grade", "word", "thumb grade", words=GRADES),
        Column(
            "lug_mm",
            "number",
            "height of the lugs, which the thickness read includes",
            "mm",
            low=0,
            high=MAX_THICKNESS_MM,
        ),
    ),
)

BENCH_JOBS = Table(
    "bench_jobs",
    ("job_id",),
    (
        _id("job_id", "stable identifier of the job"),
        _id("pair_id", "the pair worked on"),
        Column("work", "word", "kind of work", required=True, words=WORKS),
        Column("received_on", "date", "day the shop received the pair", required=True),
        Column("promised_on", "date", "day promised to the owner"),
        Column("finished_on", "date", "day the work was finished"),
        Column("returned_on", "date", "day the owner had it back"),
        Column("bench_minutes", "number", "hands-on time", "min", low=0, high=100_000),
        Column("price_minor", "integer", "price charged", "minor unit of currency", low=0),
        Column("currency", "text", "ISO 4217 code of the price"),
        Column(
            "advised",
            "flag",
            "the owner came because a forecast said so",
            default=False,
        ),
        Column("more_works", "text", "further works of the same job, separated by spaces"),
    ),
)

LAYER_ROWS = Table(
    "layers",
    ("layer_id",),
    (
        _id("layer_id", "stable identifier of the layer"),
        _id("pair_id", "the pair it is in"),
        Column("foot", "word", "which shoe; empty = both", words=FEET),
        Column(
            "layer",
            "word",
            "which layer; soles, half soles and guards are in soles.csv",
            required=True,
            words=LAYERS,
        ),
        Column("material", "word", "what it is made of", words=LAYER_MATERIALS),
        Column(
            "nominal_thickness_mm",
            "number",
            "thickness when new",
            "mm",
            low=0,
            high=MAX_LAYER_MM,
        ),
        Column("thickness_mm", "number", "thickness now", "mm", low=0, high=MAX_LAYER_MM),
        Column("limit_mm", "number", "thickness at which it is renewed", "mm", low=0, high=40),
        Column("seam", "word", "how it is held", words=SEAMS),
        Column(
            "earlier_seams",
            "integer",
            "outseams that it had before the first sole here",
            "seams",
            low=0,
            high=30,
        ),
        Column("fitted_on", "date", "day it was fitted; empty = with the shoe"),
        Column("removed_on", "date", "day it was taken off"),
    ),
)

TABLES: dict[str, Table] = {
    t.name: t for t in (WEARERS, PAIRS, SOLES, WEAR_DAYS, CHECKS, BENCH_JOBS, LAYER_ROWS)
}

DUE_QUANTILES: dict[str, float] = {
    "due_p05": 0.05,
    "due_p10": 0.10,
    "due_p25": 0.25,
    "due_p50": 0.50,
    "due_p75": 0.75,
    "due_p90": 0.90,
    "due_p95": 0.95,
}
WEARS_QUANTILES: dict[str, float] = {
    "wears_left_p10": 0.10,
    "wears_left_p50": 0.50,
    "wears_left_p90": 0.90,
}
CHANCE_DAYS: dict[str, int] = {
    "chance_now": 0,
    "chance_30d": 30,
    "chance_90d": 90,
    "chance_180d": 180,
    "chance_365d": 365,
}

FORECAST: tuple[Column, ...] = (
    _id("pair_id", "the pair"),
    Column("sole_id", "id", "the sole on it now"),
    Column("as_of", "date", "day the forecast was made for", required=True),
    Column("foot", "word", "left, right, or pair = the first of the two", words=(*FEET, "pair")),
    Column("point", "word", "where on the sole", words=WEARING_POINTS),
    Column("thickness_mm_p50", "number", "median thickness on as_of (pair: the thinner)", "mm"),
    Column(
        "rate_mm_per_wear_day_p50",
        "number",
        "median wear rate (pair: of the first foot)",
        "mm per standard wear day",
    ),
    *(
        Column(n, "date", f"{q:.0%} quantile of the due date; empty = beyond the horizon")
        for n, q in DUE_QUANTILES.items()
    ),
    *(
        Column(n, "number", f"chance of being at the limit within {d} days", "probability")
        for n, d in CHANCE_DAYS.items()
    ),
    *(
        Column(n, "number", f"{q:.0%} quantile of the wear days until the limit", "wear days")
        for n, q in WEARS_QUANTILES.items()
    ),
    Column(
        "send_by", "date", "last day to hand over at the risk level; empty = beyond the horizon"
    ),
    Column("book_by", "date", "send_by less the bench's wait"),
    Column("band", "word", "the band of the pair at this point; ball: the pair's", words=BANDS),
    Column(
        "first_foot", "word", "the foot likelier to be due first; empty = undecided", words=FEET
    ),
    Column(
        "chance_in_use",
        "number",
        "chance that the pair is still worn and its owner still a customer",
        "probability",
    ),
    Column("reason", "text", "what the forecast is based on"),
)

PATH: tuple[Column, ...] = (
    _id("pair_id", "the pair"),
    _id("sole_id", "the sole"),
    Column("foot", "word", "which shoe", words=FEET),
    Column("point", "word", "where on the sole", words=WEARING_POINTS),
    Column("on_date", "date", "calendar day", required=True),
    Column("thickness_mm_p10", "number", "10 % quantile of the thickness", "mm"),
    Column("thickness_mm_p50", "number", "median thickness", "mm"),
    Column("thickness_mm_p90", "number", "90 % quantile of the thickness", "mm"),
    Column("limit_mm", "number", "limit at this point", "mm"),
    Column("ahead", "flag", "after as_of: a forecast, not a fit to the past"),
)
