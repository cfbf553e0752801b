"""Does every entry of the registers say what others read of it, without contradiction?"""

from __future__ import annotations

import pytest

from solespan.api.channels import CHANNELS
from solespan.api.routes.page_register import PAGES
from solespan.forecast.covariates import FLAGS, REGISTER
from solespan.forecast.frames import TABLES
from tests.registers.conftest import ROOT

WEAR_DAYS = TABLES["wear_days"].by_name
PARTS = {"subject", "text", "html"}


@pytest.mark.parametrize("covariate", REGISTER, ids=lambda c: c.name)
def test_a_covariate_is_raised_by_something_its_column_can_hold(covariate):
    column = covariate.logged.column
    assert WEAR_DAYS[column.name] is column
    assert covariate.multiplier > 0 < covariate.log_sd
    if covariate.rule is None and covariate.per_unit is None:
        held = (True, False) if column.kind == "flag" else column.words
        assert covariate.value in held
        assert covariate.value != column.default, "a usual day would count as the condition"


def test_covariates_have_names_and_words_of_their_own_and_one_is_linear():
    names = [c.name for c in REGISTER]
    days = [c.days for c in REGISTER if c.days]
    assert len(set(names)) == len(names)
    assert len(set(days)) == len(days)
    assert len(names) == len(FLAGS) + 1


@pytest.mark.parametrize("entry", CHANNELS.values(), ids=lambda e: e.name)
def test_a_channel_sends_some_words_and_is_tried_again(entry):
    assert entry.parts
    assert set(entry.parts) <= PARTS
    assert entry.word
    assert entry.retry.first_gap <= entry.retry.longest_gap <= entry.retry.give_up_after


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.nav.label if p.nav else p.under or "-")
def test_a_page_leads_under_an_entry_that_is_there_and_its_templates_exist(page):
    addresses = {other.nav.address for other in PAGES if other.nav}
    assert not page.under or page.under in addresses
    folder = ROOT / "dashboards" / "templates"
    assert [name for name in page.templates if not (folder / name).exists()] == []


def test_addresses_of_a_kind_are_tidied_the_one_way_and_odd_ones_refused():
    from solespan.api.channels.addresses import MAIL, STREET, TELEPHONE

    for written in ("+43 1 234-5678", "0043 (1) 234 5678", " +43/1/2345678 "):
        assert TELEPHONE.tidy(written) == "+4312345678"
    assert TELEPHONE.usable("+4312345678")
    for odd in ("", "12345678", "+0123456789", "+43 1", "ada@mail.example", "+" + "1" * 16):
        assert not TELEPHONE.usable(TELEPHONE.tidy(odd)), odd
    assert MAIL.usable("ada@mail.example")
    assert not MAIL.usable("ada")
    assert STREET.usable(STREET.tidy(" 1 Welt Row\nUpper Town "))
