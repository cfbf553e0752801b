"""Does the pair page follow the model, once there is a fit."""

import re

import pytest


@pytest.mark.slow
def test_with_a_fit_the_page_explains_draws_the_path_and_follows_a_check(client):
    services = client.app.state.services
    services.fitter.refit()
    services.forecaster.update_behind(everyone=True)
    page = client.get("/pairs/pair-000").text
    assert "What drives the date" in page
    assert "New sole due" in page or "Stop wearing" in page
    figure = client.get("/figures/wear_path/pair-000.json").json()
    names = [trace.get("name", "") for trace in figure["data"]]
    assert "left foot" in names
    assert any(name.startswith("limit ") for name in names)
    answer = client.post(
        "/pairs/pair-000/thumb",
        data={
            "form_token": client.cookies["form_token"],
            "checked_on": "2026-11-25",
            "left-ball": "hole",
        },
    )
    assert answer.status_code == 200, "the redirect leads back to the page"
    assert re.search(r'class="band stop-wearing">stop wearing', answer.text)
    assert "Stop wearing this pair" in answer.text


def test_a_page_of_a_fitted_pair_takes_a_fixed_number_of_statements(client, statements_of):
    services = client.app.state.services
    services.fitter.refit()
    services.forecaster.update_behind(everyone=True)
    for most in (35, 18):  # the first look computes, the next ones remember
        with statements_of(client) as statements:
            client.get("/pairs/pair-000")
        assert len(statements) <= most, statements
