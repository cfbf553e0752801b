"""Are layers.csv and the operations on layers checked, taken, and read by the quote?"""

from __future__ import annotations

import pytest

from solespan.api.services.importing.exports import export_folder

HEAD = "layer_id,pair_id,foot,layer,material,nominal_thickness_mm,thickness_mm,earlier_seams,"
HEAD += "fitted_on,removed_on\n"
WELT = "x1,oxford,,welt,leather,3,,2,,\n"


def test_a_folder_with_layers_is_taken_once_and_comes_back_the_same(folder_on_both, tmp_path):
    folder = folder_on_both
    folder.texts["layers"] = HEAD + WELT + "x2,oxford,left,lifts,leather,20,18.5,,2024-03-01,\n"
    assert folder.take().counts["layers"].new == 2
    assert folder.take().counts["layers"].unchanged == 2
    assert export_folder(folder.database, tmp_path / "out")["layers.csv"] == 2
    text = (tmp_path / "out" / "layers.csv").read_text("utf-8")
    assert "x2,oxford,left,lifts,leather,20,18.5" in text


@pytest.mark.parametrize(
    ("row", "column", "accepted"),
    [
        ("x,oxford,,guard,rubber,2,,,,", "layer", "welt"),
        ("x,oxford,,lifts,leather,20,21,,,", "thickness_mm", "up to 20 mm"),
        ("x,oxford,,shank,steel,1,,2,,", "earlier_seams", "welt"),
        ("x,oxford,,lifts,leather,20,,,2024-05-01,2024-04-01", "removed_on", "2024-05-01 or later"),
        ("x,oxford,,lifts,leather,20,,,2100-05-01,", "fitted_on", "a day up to today"),
        ("x,nobody,,lifts,leather,20,,,,", "pair_id", "a pair_id"),
        ("x,oxford,,lifts,leather,0,,,,", "nominal_thickness_mm", "more than 0 mm"),
    ],
)
def test_a_layer_that_cannot_be_true_is_refused_by_name_and_the_others_are_taken(
    folder, row, column, accepted
):
    folder.texts["layers"] = HEAD + WELT + row + "\n"
    report = folder.take()
    found = [one for one in report.rows if one.file == "layers.csv"]
    assert [(one.line, one.column) for one in found] == [(3, column)]
    assert accepted in found[0].accepted
    assert report.counts["layers"].new == 1
