"""Do no two pairs look alike in a list, and are bar and verdict true?"""

from dataclasses import replace
from itertools import combinations, pairwise

import pandas as pd
import pytest

from solespan.dashboards.pages.rack.look import FORMS, LEATHERS, guess_look, tell_apart
from solespan.dashboards.pages.rack.pair_names import distinct_names
from solespan.dashboards.pages.rack.pictures import picture_sheet, pictures_of
from solespan.dashboards.pages.rack.rack_bar import bar_axis
from solespan.dashboards.pages.rack.side_view import side_view
from solespan.dashboards.pages.rack.verdict import verdict
from solespan.forecast.frames import SHOE_FORMS
from tests.dashboards.builders import TODAY


def looks(labels, ids=None):
    ids = ids or [f"p-{i:03d}" for i in range(len(labels))]
    records = [{"pair_id": i, "label": text} for i, text in zip(ids, labels, strict=True)]
    return tell_apart([guess_look(one) for one in records])


@pytest.mark.parametrize("labels", [["black oxford"] * 40, ["brown boot", "tan boot"] * 20])
def test_40_pairs_of_few_names_have_40_pictures(labels):
    drawn = [side_view(look) for look in looks(labels)]
    assert len(set(drawn)) == len(drawn)
    odd = looks(labels, [f"{i * 7919:x}zz" for i in range(40)])
    assert len({side_view(look) for look in odd}) == 40


def test_a_calendar_of_30_pairs_draws_each_once_and_stays_light():
    labels = [f"{leather} {form}" for leather in ("tan", "black", "navy") for form in FORMS][:30]
    pairs = pd.DataFrame({"pair_id": [f"p-{i}" for i in range(len(labels))], "label": labels})
    sheet = picture_sheet(pairs)
    assert sheet.symbols.count("<symbol") == len(pairs) == len(set(sheet.of_pair.values()))
    year = "".join(sheet.of_pair[f"p-{day % len(pairs)}"] for day in range(365))
    assert len(sheet.symbols) + len(year) < 150_000
    # one pair looks alike in the list and in the calendar
    for number, drawn in enumerate(pictures_of(pairs).values()):
        shapes = drawn[drawn.index(">") + 1 : drawn.rindex("</svg>")]
        assert f'<symbol id="pair-{number}" viewBox="0 0 64 48">{shapes}</symbol>' in sheet.symbols


def test_a_pair_keeps_its_ground_and_side_whatever_else_is_on_the_rack():
    few, many = looks(["tan derby"] * 2), looks(["tan derby"] * 30)
    for one, other in zip(few, many, strict=False):
        assert replace(one, letter="") == replace(other, letter="")


def test_form_and_leather_are_read_off_the_name_and_the_owner_s_word_comes_first():
    assert set(FORMS) == set(SHOE_FORMS)
    look = guess_look({"pair_id": "p-1", "label": "Oxblood Chelsea, suede"})
    assert (look.form, look.leather, look.suede) == ("chelsea", "oxblood", True)
    look = guess_look({"pair_id": "p-1", "label": "Chelsea", "form": "monk", "colour": "navy"})
    assert (look.form, look.leather) == ("monk", "navy")
    assert guess_look({"pair_id": "p-1", "label": None}).leather in LEATHERS


def test_pairs_of_one_name_are_told_apart_by_what_differs():
    pairs = pd.DataFrame(
        {
            "pair_id": ["a", "b", "c", "d", "e"],
            "label": ["Derby", "Derby", "Derby", "Monk", None],
            "maker": ["North", "South", "South", "South", None],
            "colour": [None, "tan", "tan", None, None],
        }
    )
    names = distinct_names(pairs)
    assert names["a"] == "Derby, North"
    assert names["d"] == "Monk"
    assert names["e"] == "e"
    assert len(set(names.values())) == 5


@pytest.mark.parametrize(
    ("days", "said"),
    [
        (-3, "Send now"),
        (5, "Send by Mon 30 Nov"),
        (60, "Send by 24 January"),
        (300, "By late Sept 2027"),
        (900, "By mid 2029"),
        (None, "After 2030"),
    ],
)
def test_a_date_is_no_finer_than_its_distance(days, said):
    send_by = pd.NaT if days is None else TODAY + pd.Timedelta(days=days)
    assert verdict({"band": "watch", "send_by": send_by}, TODAY, 1826) == said


def test_labels_of_the_axis_have_room_on_a_phone_whatever_day_it_is():
    for today in pd.date_range("2026-01-01", periods=24, freq="17D"):
        at = [float(tick["at"]) for tick in bar_axis(today)]
        assert all(later - earlier >= 20 for earlier, later in pairwise(at))


@pytest.mark.browser
def test_40_pairs_differ_by_12_percent_of_their_pixels_or_have_letters(chromium):
    """Half the pairs have one name; the others have names of all leathers and forms."""
    colours, forms = list(LEATHERS), list(FORMS)
    labels = ["brown derby" if i % 2 else f"{colours[i % 14]} {forms[i % 7]}" for i in range(40)]
    every = looks(labels)
    page = chromium.new_page()
    page.set_content("<body>" + " ".join(side_view(look) for look in every))
    shares = page.evaluate(DIFFERING)
    page.close()
    for (one, first), (other, second) in combinations(enumerate(every), 2):
        lettered = first.letter and second.letter and first.letter != second.letter
        assert shares[one][other] >= 0.12 or lettered, (first, second, shares[one][other])


# The share of pixels in which each two pictures of a page differ.
DIFFERING = """async () => {
  const pixels = await Promise.all([...document.querySelectorAll("svg")].map(async (svg) => {
    const image = new Image();
    svg.setAttribute("xmlns", "http://www.w3.org/2000/svg");
    image.src = "data:image/svg+xml," + encodeURIComponent(svg.outerHTML);
    await image.decode();
    const canvas = new OffscreenCanvas(56, 42).getContext("2d");
    canvas.drawImage(image, 0, 0, 56, 42);
    return canvas.getImageData(0, 0, 56, 42).data;
  }));
  const share = (one, other) => {
    let count = 0;
    for (let i = 0; i < one.length; i += 4)
      if ([0, 1, 2].some((c) => Math.abs(one[i + c] - other[i + c]) > 8)) count += 1;
    return count / (one.length / 4);
  };
  return pixels.map((one) => pixels.map((other) => share(one, other)));
}"""
