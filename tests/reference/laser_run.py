"""Does a measured series that no one here made forecast well through the program's own door?

`python -m tests.reference.laser_run [FOLDER]` writes the laser degradation data (Meeker and
Escobar, Statistical Methods for Reliability Data, 1998, table C.17) as an interchange folder up to
2000 hours, runs `solespan import` and `solespan forecast` on a fresh database in FOLDER (default:
one that is thrown away), and scores the forecasts against the readings up to 4000 hours. Each unit
is a pair of one wearer, both feet alike; 250 hours are 15 standard wear days, worn two days of
three; a percent of increase is 0.3 mm of sole, 5 mm when new, and the limit is 2.9 mm, at 7
percent.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

ROOT = Path(__file__).resolve().parents[2]
DATA = ROOT.parent / "shared" / "data" / "laser_degradation.csv"
FITTED = pd.Timestamp("2025-03-01")
WEAR_DAYS_PER_HOUR = 15 / 250
KNOWN_HOURS, LAST_HOURS = 2000, 4000
NEW_MM, MM_PER_PERCENT, LIMIT_PERCENT = 5.0, 0.3, 7.0
LIMIT_MM = NEW_MM - MM_PER_PERCENT * LIMIT_PERCENT
SOLESPAN = (sys.executable, "-c", "from solespan.api.cli.main import main; main()")


@dataclass(frozen=True)
class LaserScores:
    """What became of the forecasts.

    crossed : DataFrame
        Units over the line by 4000 hours, indexed by pair_id: days from 2000 hours to the crossing
        (`actual`), `p10`, `p50`, `p90` of the forecast, and `life`, days from new to the crossing.
    spared : Series
        Chance of crossing by 4000 hours that the others were given, by pair_id.
    """

    crossed: pd.DataFrame
    spared: pd.Series

    @property
    def held(self) -> int:
        """How many crossings the 80 % interval holds."""
        rows = self.crossed
        return int(rows["actual"].between(rows["p10"], rows["p90"]).sum())

    @property
    def median_error(self) -> float:
        """Median of the error of the median forecast, as a share of the life."""
        rows = self.crossed
        return float(((rows["p50"] - rows["actual"]).abs() / rows["life"]).median())

    @property
    def rightly_spared(self) -> int:
        """How many of the others had a chance under one half."""
        return int((self.spared < 0.5).sum())

    def summary(self) -> str:
        """Tell it as a table and three sentences."""
        rows, spared = self.crossed, self.spared
        interval = (
            f"Of {len(rows)} units that cross {LIMIT_PERCENT:g} % by {LAST_HOURS} h the 80 % "
            f"interval holds {self.held} (at least 7 are asked for)."
        )
        error = (
            f"The median error of the crossing is {self.median_error:.1%} of the life (under 12 % "
            "is asked for)."
        )
        others = (
            f"Of {len(spared)} that do not cross, {self.rightly_spared} had a chance under 50 % "
            f"(at least 4 are asked for): {spared.round(2).to_dict()}."
        )
        return "\n".join((rows.round(1).to_string(), "", interval, error, others))


def day_of(hours: float | np.ndarray) -> pd.Timestamp | pd.DatetimeIndex:
    """Calendar day on which so many hours have been run: two wear days in three days."""
    worn = np.ceil(np.round(np.asarray(hours) * WEAR_DAYS_PER_HOUR, 6)).astype(int)
    return FITTED + pd.to_timedelta((3 * worn + 1) // 2, unit="D")


def crossing_hours(unit: pd.DataFrame) -> float:
    """Hours at which the line is met, straight between readings; infinity where it is not."""
    over = np.flatnonzero(unit["increase"].to_numpy() >= LIMIT_PERCENT)
    if not len(over):
        return float("inf")
    last = over[0]
    low, high = unit.iloc[last - 1], unit.iloc[last]
    share = (LIMIT_PERCENT - low["increase"]) / (high["increase"] - low["increase"])
    return float(low["hours"] + share * (high["hours"] - low["hours"]))


def write_folder(rows: pd.DataFrame, folder: Path) -> None:
    """Write the interchange files of what is known at 2000 hours."""
    known = rows[rows["hours"] <= KNOWN_HOURS]
    pair = "unit-" + rows["unit"].drop_duplicates().astype(str)
    worn = day_of(np.arange(1, KNOWN_HOURS * WEAR_DAYS_PER_HOUR + 1) / WEAR_DAYS_PER_HOUR)
    tables = {
        "pairs": pd.DataFrame(
            {"pair_id": pair, "wearer_id": "bench", "construction": "goodyear_welted"}
        ),
        "soles": pd.DataFrame(
            {
                "sole_id": pair + "-1",
                "pair_id": pair,
                "fitted_on": FITTED,
                "material": "veg_tan_leather",
                "nominal_thickness_mm": NEW_MM,
                "limit_mm": LIMIT_MM,
            }
        ),
        "wear_days": pd.DataFrame(
            {
                "pair_id": np.repeat(pair.to_numpy(), len(worn)),
                "worn_on": np.tile(worn.to_numpy(), len(pair)),
                "hours": 8,
            }
        ),
        "checks": pd.concat(
            pd.DataFrame(
                {
                    "pair_id": "unit-" + known["unit"].astype(str),
                    "checked_on": day_of(known["hours"].to_numpy()),
                    "foot": foot,
                    "point": "ball",
                    "method": "depth_gauge",
                    "value_mm": (NEW_MM - MM_PER_PERCENT * known["increase"]).round(3),
                }
            )
            for foot in ("left", "right")
        ),
    }
    folder.mkdir(parents=True, exist_ok=True)
    for name, table in tables.items():
        table.to_csv(folder / f"{name}.csv", index=False)


def solespan(*arguments: str, database: Path) -> None:
    """Run a command of the program; its own words, where it refuses, are the error."""
    address = {"SOLESPAN_DATABASE_URL": f"sqlite:///{database}"}
    done = subprocess.run(
        [*SOLESPAN, *arguments],
        cwd=ROOT,
        env=os.environ | address,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise RuntimeError(f"solespan {arguments[0]} failed: {done.stdout}{done.stderr}")


def score(rows: pd.DataFrame, forecasts: pd.DataFrame, as_of: pd.Timestamp) -> LaserScores:
    """Set forecast rows beside what the units did."""
    said = forecasts[(forecasts["foot"] == "pair") & (forecasts["point"] == "ball")]
    said = said.set_index("pair_id")
    hours = {f"unit-{u}": crossing_hours(part) for u, part in rows.groupby("unit")}
    hours = pd.Series(hours).loc[lambda h: h.index.isin(said.index)]
    met = hours[hours <= LAST_HOURS]
    # a crossing within a wear day lies at its share of the days between wear days
    calendar = met * WEAR_DAYS_PER_HOUR * 1.5
    crossed = pd.DataFrame({"actual": calendar - (as_of - FITTED).days})
    for name in ("p10", "p50", "p90"):
        days = (pd.to_datetime(said[f"due_{name}"]) - as_of).dt.days
        crossed[name] = days.loc[met.index].fillna(np.inf)
    crossed["life"] = calendar
    if (day_of(LAST_HOURS) - as_of).days != 180:
        raise RuntimeError("the forecast file's chance within 180 days must end at 4000 hours")
    return LaserScores(crossed, said.loc[hours.index[hours > LAST_HOURS], "chance_180d"])


def run(folder: Path) -> LaserScores:
    """Write, import, forecast and score; `FileNotFoundError` where there are no data."""
    if not DATA.exists():
        raise FileNotFoundError(f"The laser data are not there: put the table at {DATA}.")
    rows = pd.read_csv(DATA)
    write_folder(rows, folder / "laser")
    database, answer = folder / "laser.sqlite3", folder / "forecast.csv"
    as_of = day_of(KNOWN_HOURS)
    solespan("import", str(folder / "laser"), database=database)
    file = ("--format", "csv", "--out", str(answer))
    solespan("forecast", "--as-of", f"{as_of:%Y-%m-%d}", *file, database=database)
    return score(rows, pd.read_csv(answer), as_of)


def main() -> int:
    """Run and print; a missing table ends in a sentence."""
    try:
        if len(sys.argv) > 1:
            print(run(Path(sys.argv[1])).summary())  # noqa: T201 - a command's answer
        else:
            with tempfile.TemporaryDirectory() as folder:
                print(run(Path(folder)).summary())  # noqa: T201 - a command's answer
    except FileNotFoundError as missing:
        print(missing, file=sys.stderr)  # noqa: T201 - a command's complaint
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
