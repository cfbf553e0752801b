"""Example builder: how are the committed examples rebuilt?

`python -m solespan.synthetic_data` writes `examples/<scenario>/` beside this file: the interchange
files and `truth.json`. Nothing else in this package writes.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd

from solespan.synthetic_data.interchange import as_text
from solespan.synthetic_data.scenarios import SCENARIOS, world
from solespan.synthetic_data.shop import SHOP_WORLDS, ShopWorld, shop_world
from solespan.synthetic_data.simulate import Simulated
from solespan.synthetic_data.truth import described

__all__ = ["EXAMPLES", "built", "truth_of", "write_folder"]

# scenario and seed of each committed example, chosen so that together they hold something
# due, something new and a pair at the bench
EXAMPLES: Mapping[str, int] = {"one_collector": 77, "small_shop": 35}
MARKS: Mapping[str, str] = {"one_collector": "C-", "small_shop": ""}  # both fit into one database
AS_OF = "2026-11-23"


def built(name: str) -> Simulated:
    """Draw the world of one example, its ids marked so that the examples do not share any."""
    draw = shop_world if name in SHOP_WORLDS else world
    simulated = draw(name, EXAMPLES[name], as_of=AS_OF)
    mark = MARKS[name]

    def marked(frame: pd.DataFrame) -> pd.DataFrame:
        ids = [c for c in map(str, frame) if c.endswith("_id")]
        return frame.assign(**{c: mark + frame[c] for c in ids}) if mark else frame

    return replace(
        simulated,
        frames={table: marked(frame) for table, frame in simulated.frames.items()},
        hidden_due=marked(simulated.hidden_due),
        rates=marked(simulated.rates),
    )


def write_folder(frames: Mapping[str, pd.DataFrame], folder: Path) -> None:
    """Write one CSV file per table, UTF-8, empty where unknown; makes the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, table in as_text(frames).items():
        table.to_csv(folder / f"{name}.csv", index=False, lineterminator="\n", encoding="utf-8")


def truth_of(name: str, seed: int, simulated: Simulated) -> dict[str, Any]:
    """What stands in `truth.json`: parameters, true due dates of pairs, true rates at the ball."""
    due = simulated.hidden_due
    rates = simulated.rates[simulated.rates["point"] == "ball"].drop(columns="point").round(6)
    known = SHOP_WORLDS if name in SHOP_WORLDS else SCENARIOS
    gone = {}
    if isinstance(simulated, ShopWorld):
        pairs = simulated.hidden_pairs
        left = pairs.loc[pairs["gone"].astype(bool), ["pair_id", "gone_on", "gone_why"]]
        gone = {"gone": _records(left)}
    return {
        "scenario": name,
        "meaning": known[name].meaning,
        "seed": seed,
        "as_of": simulated.as_of.date().isoformat(),
        "horizon_days": simulated.horizon_days,
        "parameters": described(simulated.truth),
        "due": _records(due[due["foot"] == "pair"].drop(columns="foot")),
        "rates_at_ball": _records(rates),
        **gone,
    }


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    dates = frame.select_dtypes("datetime").columns
    spelt = frame.assign(**{c: frame[c].dt.strftime("%Y-%m-%d") for c in dates})
    records: list[dict[str, Any]] = json.loads(spelt.to_json(orient="records"))
    return records


def main() -> None:
    """Rebuild every example."""
    for name, seed in EXAMPLES.items():
        simulated = built(name)
        folder = Path(__file__).parent / "examples" / name
        write_folder(simulated.frames, folder)
        text = json.dumps(truth_of(name, seed, simulated), indent=1, ensure_ascii=False)
        (folder / "truth.json").write_text(text + "\n", encoding="utf-8")
        print(f"{folder}: {len(simulated.frames['pairs'])} pairs")  # noqa: T201 - a command's answer


if __name__ == "__main__":
    main()
