"""Can a shop do from a terminal what the pages do?"""

from __future__ import annotations

import json
import re

import pytest
from typer.testing import CliRunner

from solespan.api.cli.main import build_app
from solespan.api.errors import Refused
from solespan.api.services.accounts.people import new_tenant
from solespan.api.services.notices.deciding import run
from solespan.api.storage.notices.notices import list_notices
from tests.api.notices.people import RULES, SECRET, count_states
from tests.api.notices.servers import Mailbox, mail_server


@pytest.fixture
def shop_in(shop, shop_address, monkeypatch):
    """The shop's database as the settings of the commands name it."""
    settings = {
        "DATABASE_URL": shop_address,
        "SECRET_KEY": SECRET,
        "PUBLIC_ADDRESS": "https://shop.example",
        "SMTP_HOST": "127.0.0.1",
        "SMTP_SECURITY": "plain",
        "SMTP_FROM": "bench@shop.example",
    }
    for name, value in settings.items():
        monkeypatch.setenv(f"SOLESPAN_{name}", value)
    monkeypatch.setattr("solespan.api.wiring.Clock", lambda: shop.clock)
    return shop


def run_command(*arguments: str, **more):
    result = CliRunner().invoke(build_app(), arguments, **more)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def test_preview_and_dry_run_show_the_same_and_change_nothing(shop_in):
    shown = run_command("notices", "preview").output
    assert "due for a notice" in shown
    assert "no consent: 2" in shown
    dry = run_command("notices", "send", "--dry-run").output
    assert dry.startswith(shown)
    words = run_command("notices", "preview", "--words").output
    link = re.compile(r"(answers|unsubscribe)/\S+")  # each names a notice that is not written yet
    assert link.sub("", dry) == link.sub("", words)
    assert "--- ada, by mail: 3 of your pairs need new soles soon" in dry
    assert "--- bo, by mail" in dry
    assert dry.count("Book it in: https://shop.example/answers/") == 6
    assert "no consent for any channel" in run_command("notices", "preview", "--all").output
    with shop_in.database.reading() as session:
        assert list_notices(session, limit=5) == []


def test_send_asks_and_then_sends_and_list_shows_it(shop_in, monkeypatch):
    mailbox = Mailbox()
    assert run_command("notices", "send", input="n\n").exit_code == 1
    with mail_server(mailbox) as port:
        monkeypatch.setenv("SOLESPAN_SMTP_PORT", str(port))
        said = run_command("notices", "send", "--yes").output
    assert "2 notices about 6 pairs" in said
    assert "Sent 2" in said
    assert len(mailbox.taken) == 2
    assert "sent" in run_command("notices", "list").output
    assert "No notice yet." in run_command("notices", "list", "--state", "failed").output
    with pytest.raises(Refused, match="no state"):
        run_command("notices", "list", "--state", "lost")


def test_work_once_sends_what_waits(shop_in, monkeypatch):
    from solespan.api.services.notices.deciding import run

    run(shop_in)
    mailbox = Mailbox()
    with mail_server(mailbox) as port:
        monkeypatch.setenv("SOLESPAN_SMTP_PORT", str(port))
        assert "Sent 2" in run_command("work", "--once").output
    with shop_in.database.reading() as session:
        assert count_states(session) == {"sent": 2}


def shown(group: str) -> str:
    return run_command("settings", "show", group, "-f", "json").output


def test_rules_consents_and_bounces_from_a_terminal(shop_in, tmp_path):
    rules = json.loads(shown("notices"))["settings"]
    file = tmp_path / "rules.json"
    file.write_text(json.dumps(rules | {"weeks_ahead": 9}))
    assert "is kept" in run_command("settings", "set", "notices", f"@{file}").output
    assert json.loads(shown("notices"))["settings"]["weeks_ahead"] == 9
    file.write_text(json.dumps(rules | {"weeks_ahead": 99}))
    with pytest.raises(Refused, match="weeks_ahead"):
        run_command("settings", "set", "notices", f"@{file}")
    given = ("notices", "consent", "cy", "mail", "--how", "paper")
    assert "is written down" in run_command(*given, "--by", "Mo").output
    assert "a consent already" in run_command(*given, "--by", "Mo").output
    assert "is withdrawn" in run_command(*given, "--withdraw").output
    with pytest.raises(Refused):
        run_command(*given)
    dated = ("notices", "consent", "cy", "print", "--how", "card", "--by", "Mo", "--on")
    with pytest.raises(Refused):
        run_command(*dated, "2027-03-01")
    assert "written down" in run_command(*dated, "2026-03-01").output
    mail = tmp_path / "back.eml"
    mail.write_bytes(b"Subject: On holiday\r\n\r\nBack on Monday.")
    assert "0 of 1 said" in run_command("notices", "read-bounces", str(mail)).output
    assert "1 customers" in run_command("notices", "bounced", "ada@mail.example").output
    assert (
        "get notices again"
        in run_command("notices", "bounced", "ada@mail.example", "--lift").output
    )


def test_without_a_secret_nothing_is_sent_and_the_reason_is_told(shop_in, monkeypatch):
    monkeypatch.delenv("SOLESPAN_SECRET_KEY")
    with pytest.raises(Refused, match="no secret to sign") as caught:
        run_command("notices", "send", "--yes")
    assert caught.value.remedy


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("SECRET_KEY", "short-and-secret"),
        ("PUBLIC_ADDRESS", "http://shop.example"),
        ("PUBLIC_ADDRESS", "https://shop.example/path"),
        ("SMTP_FROM", "nobody"),
        ("SMTP_SECURITY", "none"),
        ("SMTP_PORT", "0"),
    ],
)
def test_a_setting_that_cannot_be_used_is_named_and_a_secret_not_shown(monkeypatch, name, value):
    from solespan.api.errors import BadSetting
    from solespan.api.settings import load_settings

    monkeypatch.setenv(f"SOLESPAN_{name}", value)
    with pytest.raises(BadSetting, match=f"SOLESPAN_{name}") as caught:
        load_settings()
    assert ("short-and-secret" in " ".join(caught.value.lines())) is False


def test_commands_work_in_the_tenant_that_the_settings_name_and_send_for_no_other(
    shop_in, monkeypatch, tmp_path
):
    file = tmp_path / "rules.json"
    file.write_text(RULES.model_dump_json())
    with shop_in.database.writing() as session:
        new_tenant(session, tenant_id="other", name="Other", kind="shop")
    monkeypatch.setenv("SOLESPAN_TENANT", "other")
    assert "There is no pair yet" in run_command("notices", "preview").output
    mailbox = Mailbox()
    with mail_server(mailbox) as port:
        monkeypatch.setenv("SOLESPAN_SMTP_PORT", str(port))
        run(shop_in)  # the first shop's notices wait in its outbox
        run_command("settings", "set", "notices", f"@{file}")
        assert "Sent 0" in run_command("notices", "send", "--yes").output
    assert mailbox.taken == []
    with shop_in.database.reading() as session:
        assert count_states(session)["pending"] == 2


def test_a_consent_of_many_is_written_down_after_its_number_is_confirmed(shop_in):
    said = ("notices", "consent-of-many", "print", "--basis", "consent", "--how", "a form")
    with pytest.raises(Refused, match="Nothing was written"):
        run_command(*said, "--by", "Mo", "--customers", "99")
    assert run_command(*said, "--by", "Mo", input="n\n").exit_code == 1
    told = run_command(*said, "--by", "Mo", input="y\n").output
    assert "is written down" in told
    assert (
        "The consent of 0 customers" in run_command(*said, "--by", "Mo", "--customers", "0").output
    )


def test_the_wording_of_each_language_is_set_by_command(shop_in):
    run_command("settings", "set", "notice_template_de.subject", "Neue Sohle, {{ customer.name }}?")
    told = run_command("settings", "show", "notice_template_de", "--format", "json").output
    assert json.loads(told)["settings"]["subject"] == "Neue Sohle, {{ customer.name }}?"
    english = run_command("settings", "show", "notice_template", "--format", "json").output
    assert "Neue Sohle, {{ customer.name }}?" not in english
    with pytest.raises(Refused):
        run_command("settings", "set", "notice_template_de.subject", "{{ nobody.knows }}")
    run_command("settings", "reset", "notice_template_de")
    told = run_command("settings", "show", "notice_template_de", "--format", "json").output
    assert "Neue Sohle, {{ customer.name }}?" not in told
