"""Is the report one file that needs nothing else."""

import re

from solespan.dashboards.report import report_html
from tests.dashboards.builders import LONG_NAME, TODAY, rack

SITUATION = rack(5)
REPORT = report_html(
    SITUATION.forecast, SITUATION.log, SITUATION.path, today=TODAY, title="A <rack>"
)


def test_the_report_refers_to_no_file_and_no_address():
    head, _, _ = REPORT.partition("<script>")
    assert not re.search(r'(src|href)="(?!#|data:text/csv)', head)
    assert "default-src 'none'" in head


def test_every_script_element_ends_where_it_should():
    assert REPORT.count("<script") - REPORT.count("</script") == 0
    assert REPORT.rstrip().endswith("</html>")


def test_the_due_list_stands_in_it_as_a_table():
    for label in SITUATION.log.pairs["label"]:
        assert f'class="words">{label}</th>' in REPORT
    assert "A &lt;rack&gt;" in REPORT


def test_its_figures_are_those_of_the_pairs_given():
    figures = re.findall(r'<svg class="fig w360".*?</svg>', REPORT, re.DOTALL)
    assert len(figures) == 1 + SITUATION.path["pair_id"].nunique()
    assert all("<path" in figure for figure in figures)


def test_it_is_a_small_file_without_a_script():
    many = rack(200)
    text = report_html(many.forecast, many.log, SITUATION.path, today=TODAY, title="t")
    assert "<script" not in REPORT
    assert len(text.encode()) < 400_000


def test_a_name_cannot_end_its_script():
    nasty = rack(2, label="</script><script>alert(1)</script>" + LONG_NAME)
    text = report_html(nasty.forecast, nasty.log, nasty.path, today=TODAY, title="t")
    assert "<script>alert" not in text


def test_a_report_of_nothing_is_still_a_report():
    nothing = rack(0)
    text = report_html(nothing.forecast, nothing.log, nothing.path, today=TODAY, title="t")
    assert "No pair yet." in text
