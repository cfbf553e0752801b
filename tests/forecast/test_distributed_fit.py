"""Is a fit made of parts, in one process or on a Dask cluster, the fit of the whole?"""

from __future__ import annotations

import numpy as np
import pytest

from solespan.forecast import WearLog, WearModel, wear_log
from solespan.forecast.model import full_panel_fit as everyone_module
from solespan.forecast.model.distributed_fit import fit_split, join_panels
from solespan.forecast.model.wear_fit import WearFit
from solespan.forecast.panel.panel_of_log import build_panel
from solespan.forecast.panel.wearer_parts import Threads
from solespan.synthetic_data import shop_world, world
from tests.forecast.builders import TODAY, log_of, rack, together

PARTS = 3


@pytest.fixture(scope="module")
def whole() -> tuple[WearLog, object]:
    drawn = world("score_world", 11, n_pairs=90)
    return wear_log(**drawn.frames), drawn.as_of


@pytest.fixture(scope="module")
def parts(whole: tuple[WearLog, object]) -> list[WearLog]:
    """The log split by wearer, each part with whole racks that have a sole."""
    log, _ = whole
    with_sole = log.pairs["pair_id"].isin(log.soles["pair_id"])
    wearers = sorted(log.pairs.loc[with_sole, "wearer_id"].unique())
    return [log.of_wearers(ids) for ids in np.array_split(np.array(wearers, object), PARTS)]


@pytest.fixture
def few_enough(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let spreads be sought on some wearers of this small log, as on those of a large one."""
    monkeypatch.setattr(everyone_module, "ENOUGH_PATHS", 150)
    monkeypatch.setattr("solespan.forecast.model.distributed_fit.ENOUGH_PATHS", 150)
    monkeypatch.setattr(everyone_module, "_BLOCK_PATHS", 60)


def assert_same(one: WearFit, other: WearFit) -> None:
    assert one.names == other.names
    np.testing.assert_allclose(one.params, other.params, rtol=1e-8, atol=1e-10)
    np.testing.assert_allclose(one.cov, other.cov, rtol=1e-7, atol=1e-11)
    assert one.log_likelihood == pytest.approx(other.log_likelihood, rel=1e-9)
    np.testing.assert_allclose(one.use.error, other.use.error, rtol=1e-8)
    assert one.use.season.keys() == other.use.season.keys()
    for group, wave in one.use.season.items():
        np.testing.assert_allclose(wave, other.use.season[group], rtol=1e-8, atol=1e-10)
    for name in ("half_life_periods", "leaning_days", "bias_log", "going_out_per_day", "scored"):
        assert getattr(one.use, name) == pytest.approx(getattr(other.use, name), rel=1e-8)


def test_panels_of_parts_join_to_the_panel_of_the_whole(whole, parts) -> None:
    log, as_of = whole
    wanted, got = build_panel(log, as_of), join_panels([build_panel(p, as_of) for p in parts])
    for name, value in vars(wanted).items():
        if name == "obs_check":  # rows of each part's own checks
            continue
        for a, b in (
            [(value, getattr(got, name))]
            if name != "exposure"
            else [(v, getattr(got.exposure, n)) for n, v in vars(value).items()]
        ):
            if np.asarray(a).dtype.kind == "f":
                np.testing.assert_allclose(a, b, rtol=1e-12, atol=1e-10, err_msg=name)
            else:
                np.testing.assert_array_equal(a, b, err_msg=name)


@pytest.mark.usefixtures("few_enough")
@pytest.mark.slow
def test_a_fit_of_parts_is_the_fit_of_the_whole(whole, parts) -> None:
    log, as_of = whole
    assert_same(fit_split(Threads(), parts, as_of), WearModel(log, as_of).fit())


@pytest.mark.usefixtures("few_enough")
@pytest.mark.slow
@pytest.mark.parametrize("name", ["mixed_shop_10", "silent_shop"])
def test_a_fit_of_parts_is_that_of_the_whole_where_many_log_nothing(name: str) -> None:
    drawn = shop_world(name, 11, n_pairs=90)
    log = wear_log(**drawn.frames)
    wearers = np.array(sorted(log.pairs["wearer_id"].unique()), object)
    split = [log.of_wearers(ids) for ids in np.array_split(wearers, PARTS)]
    one, other = fit_split(Threads(), split, drawn.as_of), WearModel(log, drawn.as_of).fit()
    assert one.names == other.names
    np.testing.assert_allclose(one.params, other.params, rtol=1e-6, atol=1e-8)


def test_a_part_that_sees_less_than_the_others_tells_the_same() -> None:
    frames = rack(2, wearer_id="ada", seed=3, driving_foot="right")
    worn = len(frames["wear_days"])
    frames["wear_days"] = frames["wear_days"].assign(wet=np.arange(worn) % 3 == 0)
    silent = rack(1, wearer_id="zoe", seed=8)
    silent["wear_days"] = silent["wear_days"].iloc[:0]
    log = log_of(together(frames, silent))
    split = [log.of_wearers([name]) for name in ("ada", "zoe")]
    assert_same(fit_split(Threads(), split, TODAY), WearModel(log, TODAY).fit())


@pytest.mark.slow
@pytest.mark.usefixtures("few_enough")
def test_a_dask_cluster_gives_the_fit_of_one_process(whole, parts) -> None:
    distributed = pytest.importorskip("distributed", reason="needs the extra dask")
    from solespan.api.services.forecasts.dask_runner import DaskRunner

    log, as_of = whole
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0"
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        held = client.scatter(parts)
        split = fit_split(DaskRunner(client), held, as_of)
    assert_same(split, WearModel(log, as_of).fit())
