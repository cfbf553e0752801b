"""Do the pages say everything in words, escaped, small, and in every situation."""

import re
from html.parser import HTMLParser

import pandas as pd
import pytest

from solespan.dashboards.pages.planning.rotation import rotation
from solespan.dashboards.pages.rack.answers import answers, moved_words
from solespan.dashboards.pages.rack.pair import FORM_NAMES, FormState, form_choices, pair_page
from solespan.dashboards.pages.rack.rack import PAIRS_A_PAGE, RackList, rack_page
from solespan.dashboards.pages.rack.today import today_panel
from solespan.dashboards.render import render
from solespan.forecast.dates.points_before import points_before
from solespan.forecast.frames import BANDS
from tests.dashboards.builders import LONG_NAME, TODAY, Rack, rack, with_band


class Page(HTMLParser):
    """Collects what a page holds: texts, attributes by tag."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict]] = []
        self.texts: list[str] = []
        self._whole = text
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.texts.append(data)

    @property
    def listed(self) -> str:
        """What stands in the list of pairs."""
        return Page(self._whole.partition('<ol class="rack">')[2].partition("</ol>")[0]).text

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.texts).split())


PLACE = {"query": "", "narrowed": "", "before": None, "after": None}


def rack_html(situation: Rack, whole: RackList | None = None, **place) -> str:
    context = rack_page(
        situation.forecast, situation.log.pairs, situation.log.wearers, today=TODAY, whole=whole
    )
    context |= {
        "one": "",
        "today": today_panel(
            situation.forecast, situation.log.pairs, situation.log.wear_days, today=TODAY
        ),
        "logged": None,
    }
    return render("rack/rack.html", context | PLACE | place | {"token": "t"})


def pair_html(situation: Rack, pair_id: str = "pair-000", forms=None, **more) -> str:
    page = pair_page(
        pair_id,
        situation.log,
        situation.forecast,
        path=situation.path,
        today=TODAY,
        risk=0.1,
        limit_mm=2.0,
        **more,
    )
    states = {name: FormState() for name in FORM_NAMES} | (forms or {})
    context = page | form_choices() | states | {"worn_today": False, "logged": None}
    return render("rack/pair.html", context | {"token": "t", "today_iso": "2026-11-25"})


def rotation_html(situation: Rack) -> str:
    said = rotation(situation.log.wear_days, situation.log.pairs, today=TODAY)
    return render("planning/rotation.html", {"rotation": said, "wearer_id": ""})


PAGES = {
    "rack": rack_html(rack(6)),
    "rack of one": rack_html(rack(1)),
    "empty rack": rack_html(rack(0)),
    "rack of long names": rack_html(rack(4, label=LONG_NAME)),
    "rotation": rotation_html(rack(6)),
    "rotation of none": rotation_html(rack(0)),
    "pair": pair_html(rack(6)),
    "pair without a log": pair_html(rack(6), "pair-005"),
    "pair with a long name": pair_html(rack(2, label=LONG_NAME)),
}


@pytest.mark.parametrize("name", PAGES)
class TestEveryPage:
    def test_holds_no_inline_script_or_style(self, name):
        for tag, attributes in Page(PAGES[name]).tags:
            assert "style" not in attributes
            assert tag != "style"
            assert not any(key.startswith("on") for key in attributes)
            assert tag != "script" or attributes.get("src", "").startswith("/assets/")

    def test_loads_nothing_from_elsewhere(self, name):
        for _, attributes in Page(PAGES[name]).tags:
            for key in ("src", "href", "action", "data-figure-src"):
                assert attributes.get(key, "/").startswith(("/", "#", "data:text/csv"))

    def test_never_promises_that_something_is_safe_and_says_the_cautions(self, name):
        words = Page(PAGES[name]).text
        assert "slip on wet ground" in words
        assert "lets water in" in words
        assert "safe" not in words.lower().split()

    def test_leaks_no_missing_value(self, name):
        words = Page(PAGES[name]).text
        assert not {"NaT", "nan", "None", "NaN"} & set(words.split())

    def test_every_field_has_a_label_and_every_id_is_there_once(self, name):
        tags = Page(PAGES[name]).tags
        ids = [attributes["id"] for _, attributes in tags if "id" in attributes]
        assert len(ids) == len(set(ids))
        labelled = {attributes.get("for") for tag, attributes in tags if tag == "label"}
        for tag, attributes in tags:
            boxed = attributes.get("type") in ("hidden", "radio", "checkbox")
            if tag in ("input", "select") and not boxed:
                assert attributes["id"] in labelled


def test_markup_in_a_name_is_shown_as_text():
    for name in ("rack of long names", "pair with a long name"):
        page = Page(PAGES[name])
        assert 'The <b>"very best"</b> pair & the one' in page.text
        assert "<b>&#34;very" not in PAGES[name]


def test_the_rack_says_band_and_verdict_of_every_pair_without_script():
    situation = rack(6)
    words = Page(rack_html(situation)).text
    for label in situation.log.pairs["label"]:
        assert label in words
    assert "stop wearing" in words
    assert "Send now" in words
    assert "by " in words.lower()


def test_a_list_that_no_pair_is_in_says_so_and_leads_to_all():
    none = Page(rack_html(rack(0), RackList({}, 12, band="no such band"))).text
    assert "No pair matches" in none
    assert "Show all 12" in none


def test_a_full_part_of_the_list_is_a_page_under_150_kb():
    assert len(rack_html(rack(PAIRS_A_PAGE)).encode()) < 150_000


def test_a_part_of_a_list_says_which_it_is_and_leads_to_the_next_without_script():
    whole = RackList({"sound": 2407}, 2407, page=2, pages=25)
    text = rack_html(rack(6), whole, before="", after="?page=3")
    assert "Pairs 61 to 66 of 2,407" in Page(text).text
    links = dict(re.findall(r'rel="(prev|next)" href="([^"]+)"', text))
    assert links == {"prev": "/#pairs", "next": "/?page=3#pairs"}
    assert 'rel="next"' not in rack_html(rack(6))


def test_of_too_many_people_for_a_list_the_search_finds_the_one():
    whole = RackList({"sound": 6}, 9000, many_wearers=True, wearer_id="ada")
    text = rack_html(rack(6), whole)
    assert "f-wearer" not in text
    assert '<input type="hidden" name="wearer" value="ada">' in text
    assert "Search for a wearer" in Page(text).text


@pytest.mark.parametrize("band", BANDS)
def test_the_pair_page_finds_words_for_every_band(band):
    words = Page(pair_html(with_band(rack(2), "pair-000", band))).text
    assert band in words
    if band == "stop wearing":
        assert "Stop wearing this pair" in words
    if band == "away":
        assert "away at a shop" in words


def test_the_pair_page_says_when_by_when_and_which_foot_first():
    words = Page(pair_html(rack(6), "pair-002")).text
    assert "New sole due between" in words
    assert "Send it by" in words
    assert "Book a place on the bench" in words
    assert "Left shoe first" in words
    assert "the limit is 2.0 mm" in words


def test_the_pair_page_says_what_one_more_check_would_bring():
    checks = pd.DataFrame(
        [
            {
                "foot": "left",
                "point": "ball",
                "method": "caliper",
                "interval_days_now": 150.0,
                "interval_days_after": 70.0,
            },
            {
                "foot": "right",
                "point": "ball",
                "method": "thumb",
                "interval_days_now": 150.0,
                "interval_days_after": 149.0,
            },
        ]
    )
    words = Page(pair_html(rack(2), next_checks=checks)).text
    assert "A caliper reading at the ball of the left shoe" in words
    assert "from about 5 months to about 2 months" in words
    assert "thumb check at the ball of the right" not in words, "it would bring nothing"


def test_errors_stand_beside_their_fields_and_what_was_typed_is_kept():
    wrong = FormState({"left": "52", "point": "toe"}, {"left": "give a number to 40 mm"})
    page = Page(pair_html(rack(2), forms={"reading": wrong}))
    by_id = {attributes.get("id"): attributes for _, attributes in page.tags}
    field = by_id["r-left"]
    assert field["value"] == "52"
    assert field["aria-invalid"] == "true"
    assert field["aria-describedby"] in by_id
    assert "give a number to 40 mm" in page.text
    checked = [a for tag, a in page.tags if tag == "input" and "checked" in a]
    assert any(a["name"] == "point" and a["value"] == "toe" for a in checked)


class TestThreeAnswers:
    @staticmethod
    def _told(**more):
        situation = with_band(rack(6), "pair-002", more.pop("band", "watch"))
        mine = situation.forecast["pair_id"] == "pair-002"
        row = situation.forecast[mine & (situation.forecast["foot"] == "pair")].iloc[0].to_dict()
        row |= {"wears_left_p10": 6.2, "wears_left_p50": 9.1, "wears_left_p90": 14.9} | more
        return answers(row, [], None, today=TODAY, horizon_days=1826, has_sole=True)

    def test_say_when_may_i_and_what_now(self):
        told = self._told()
        assert [one.ask for one in told] == ["When?", "May I wear it?", "What now?"]
        assert told[1].say == "Yes, about 9 more wears"
        assert told[1].more.startswith("6 to 14 wears.")
        assert "Look at the sole first." in told[1].more
        assert told[2].say.startswith("Book ")

    @pytest.mark.parametrize("band", ["away", "retired"])
    def test_say_one_thing_of_a_pair_at_rest(self, band):
        assert len(self._told(band=band)) == 1

    def test_never_allow_a_pair_that_is_at_its_limit(self):
        assert self._told(band="stop wearing")[1].say == "No, stop wearing it"

    def test_name_the_heel_where_it_comes_first(self):
        situation = rack(6)
        ball = situation.forecast[situation.forecast["foot"] == "pair"].iloc[[2]]
        sooner = ball["send_by"] - pd.Timedelta(days=30)
        heel = ball.assign(point="heel", send_by=sooner)
        later = ball.assign(point="toe", send_by=ball["send_by"] + pd.Timedelta(days=30))
        found = points_before(pd.concat([ball, heel, later]))
        assert [one["point"] for one in found[ball["pair_id"].iloc[0]]] == ["heel"]
        told = answers(
            ball.iloc[0].to_dict(), found[ball["pair_id"].iloc[0]], None, today=TODAY,
            horizon_days=1826, has_sole=True,
        )  # fmt: skip
        assert "a new top piece" in told[2].more

    def test_a_wear_that_moved_nothing_says_nothing(self):
        day = TODAY + pd.Timedelta(days=40)
        assert moved_words(day, day, TODAY) == ""
        assert "about 3 weeks" in moved_words(day, day - pd.Timedelta(days=20), TODAY)
