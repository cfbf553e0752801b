"""Do dirty files hold exactly the mistakes that were announced, and do the examples stand?"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from solespan import synthetic_data
from solespan.forecast.frames import TABLES
from solespan.synthetic_data import world
from solespan.synthetic_data.__main__ import AS_OF, EXAMPLES, built, truth_of, write_folder
from solespan.synthetic_data.dirt import DIRTS, IRON_MM, soil
from solespan.synthetic_data.interchange import as_text

FOLDER = Path(synthetic_data.__file__).parent / "examples"


@pytest.fixture(scope="module")
def frames() -> dict[str, pd.DataFrame]:
    return world("every_habit", 6, n_pairs=40, horizon_days=0).frames


def test_one_iron_is_a_forty_eighth_of_an_inch():
    """ASTM D1814: 1 iron = 1/48 in; 9 iron = 4.7625 mm; the 1/42 in seen elsewhere is wrong."""
    assert pytest.approx(0.5291667, abs=1e-6) == IRON_MM
    assert pytest.approx(4.7625, abs=1e-9) == 9 * IRON_MM


def test_text_has_iso_dates_words_for_flags_and_nothing_for_unknown(frames):
    text = as_text(frames)
    days = text["wear_days"]
    assert days["worn_on"].str.fullmatch(r"\d{4}-\d\d-\d\d").all()
    assert set(days["wet"]) == {"true", "false"}
    assert not (days["hours"] == "8").any()
    for table in text.values():
        assert not table.isin(["nan", "NaN", "NaT", "None", "<NA>"]).any(axis=None)
    same = as_text(text)
    for name in TABLES:
        pd.testing.assert_frame_equal(same[name], text[name])


def test_numbers_read_back_from_text_unchanged(frames):
    read = pd.to_numeric(as_text(frames)["checks"]["value_mm"])
    pd.testing.assert_series_equal(read, frames["checks"]["value_mm"], check_names=False)


@pytest.mark.parametrize("kind", DIRTS)
def test_each_dirt_changes_what_it_says_and_nothing_else(frames, kind):
    clean = as_text(frames)
    dirty, done = soil(frames, np.random.default_rng(8), kinds=[kind], n_each=3)
    assert len(done) >= 3
    for change in done:
        assert change.kind == kind
        assert change.expected in ("refused", "questioned")
        assert dirty[change.table].loc[change.line - 2, change.column] == change.after
        assert change.before != change.after
        if kind != "doubled_days":
            assert clean[change.table].loc[change.line - 2, change.column] == change.before
    for name in TABLES:
        touched = {(s.line - 2, s.column) for s in done if s.table == name}
        old = clean[name]
        new = dirty[name].iloc[: len(old)]
        differs = np.argwhere((new != old).to_numpy())
        assert {(int(r), old.columns[c]) for r, c in differs} == {
            (r, c) for r, c in touched if r < len(old)
        }


def test_doubled_days_stand_twice_with_other_hours(frames):
    dirty, done = soil(frames, np.random.default_rng(8), kinds=["doubled_days"])
    twice = dirty["wear_days"].duplicated(["pair_id", "worn_on"], keep=False)
    assert twice.sum() == 2 * len(done)


def test_swapped_feet_keep_both_readings_of_the_visit(frames):
    clean = as_text(frames)["checks"]
    dirty, done = soil(frames, np.random.default_rng(8), kinds=["swapped_feet"], n_each=1)
    assert sorted(s.after for s in done) == ["left", "right"]
    key = ["pair_id", "checked_on", "point", "method", "value_mm"]
    pd.testing.assert_frame_equal(dirty["checks"][key], clean[key])


def test_all_dirts_together_spoil_no_row_twice(frames):
    _, done = soil(frames, np.random.default_rng(9))
    cells = [(s.table, s.line) for s in done if s.kind != "swapped_feet"]
    assert len(cells) == len(set(cells))
    assert {s.kind for s in done} == set(DIRTS)


def test_soiling_leaves_the_frames_it_was_given_alone(frames):
    before = {name: frame.copy() for name, frame in frames.items()}
    soil(frames, np.random.default_rng(9))
    for name in TABLES:
        pd.testing.assert_frame_equal(frames[name], before[name])


def test_an_unknown_dirt_or_too_few_rows_says_so(frames):
    with pytest.raises(KeyError, match="swapped_feet"):
        soil(frames, np.random.default_rng(1), kinds=["mud"])
    with pytest.raises(ValueError, match="can be spoilt"):
        soil(frames, np.random.default_rng(1), kinds=["bad_words"], n_each=10**6)


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_committed_example_is_what_its_seed_gives(name, tmp_path):
    """After a change to the simulator or of numpy: `python -m solespan.synthetic_data`."""
    made = built(name)
    write_folder(made.frames, tmp_path)
    for table in TABLES:
        written = (tmp_path / f"{table}.csv").read_text("utf-8")
        assert written == (FOLDER / name / f"{table}.csv").read_text("utf-8"), table
    stored = json.loads((FOLDER / name / "truth.json").read_text("utf-8"))
    fresh = json.loads(json.dumps(truth_of(name, EXAMPLES[name], made)))
    assert stored["due"] == fresh["due"]
    assert stored["parameters"]["wet_factor"]["value"] == pytest.approx(
        fresh["parameters"]["wet_factor"]["value"]
    )


def test_the_examples_have_something_due_something_new_and_a_pair_away():
    size = away = 0
    for name in EXAMPLES:
        folder = FOLDER / name
        due = pd.DataFrame(json.loads((folder / "truth.json").read_text("utf-8"))["due"])
        ball = pd.to_datetime(due[due["point"] == "ball"]["due_on"])
        jobs = pd.read_csv(folder / "bench_jobs.csv")
        pairs = pd.read_csv(folder / "pairs.csv", parse_dates=["acquired_on"])
        as_of = pd.Timestamp(AS_OF)
        assert (ball < as_of + pd.Timedelta(days=180)).any()
        assert (pairs["acquired_on"] > as_of - pd.Timedelta(days=365)).any()
        away += jobs["returned_on"].isna().sum()
        size += sum(f.stat().st_size for f in folder.iterdir())
    assert away
    assert size < 3_000_000
