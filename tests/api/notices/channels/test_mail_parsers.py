"""Do three parsers that share no code read a notice alike, and is it whole without pictures?"""

from __future__ import annotations

import re
from email import message_from_bytes
from email.policy import SMTP
from html import unescape
from io import BytesIO

import fast_mail_parser
import mailparse
import pytest
from PIL import Image

from solespan.api.channels.mail.build import build_mail
from solespan.api.channels.message import Picture
from solespan.api.notices.pictures import draw_pair
from solespan.api.notices.template import render_notice, sample_facts, shipped_template
from solespan.api.schemas.notices.notices import NoticeRules
from solespan.dashboards.language import LANGUAGES
from solespan.dashboards.pages.rack.look import LEATHERS
from tests.api.notices.channels.test_mail_headers import SETTINGS, message

PAIR = {"pair_id": "ada-0", "label": "Walnut oxford", "construction": "goodyear_welted"}


def built(code: str, name: str = "Zoë Größing") -> tuple[bytes, dict[str, object]]:
    facts = sample_facts(name, 2, second=False) | {"language": code}
    said = render_notice(shipped_template(LANGUAGES[code]), facts)
    pictures = [Picture("picture-0", "image/png", draw_pair(PAIR))]
    parts = {"subject": said.subject, "text": said.text, "html": said.html}
    mail = build_mail(
        message(customer_name=name, pictures=pictures, **parts),
        SETTINGS,
        NoticeRules(shop_name="Hide & Welt"),
    )
    return mail.as_bytes(), parts | {"picture": pictures[0].content}


def plain(text: str) -> str:
    return text.replace("\r\n", "\n").strip()


def by_library(raw: bytes) -> dict[str, object]:
    mail = message_from_bytes(raw, policy=SMTP)
    assert not mail.defects
    (picture,) = [p for p in mail.walk() if p.get_content_maintype() == "image"]
    return {
        "subject": mail["Subject"],
        "text": plain(mail.get_body(("plain",)).get_content()),
        "html": plain(
            next(p for p in mail.walk() if p.get_content_subtype() == "html").get_content()
        ),
        "picture": picture.get_content(),
        "cid": picture["Content-ID"].strip("<>"),
    }


def by_rust(raw: bytes) -> dict[str, object]:
    mail = fast_mail_parser.parse_email(raw)
    (picture,) = mail.attachments
    return {
        "subject": mail.subject,
        "text": plain("".join(mail.text_plain)),
        "html": plain("".join(mail.text_html)),
        "picture": bytes(picture.content),
        "cid": picture.content_id.strip("<>"),
    }


def by_stream(raw: bytes) -> dict[str, object]:
    mail = mailparse.parse(raw)
    (picture,) = mail.attachments
    return {
        "subject": mail.subject,
        "text": plain(mail.text),
        "html": plain(mail.html),
        "picture": bytes(picture.content),
        "cid": picture.contentId.strip("<>"),
    }


@pytest.mark.parametrize("code", LANGUAGES)
@pytest.mark.parametrize("parser", [by_library, by_rust, by_stream])
def test_each_parser_reads_what_was_written(parser, code):
    raw, wanted = built(code)
    read = parser(raw)
    assert read["subject"] == wanted["subject"]
    assert read["picture"] == wanted["picture"]
    assert read["cid"] == "picture-0"
    for part in ("text", "html"):
        assert read[part] == plain(wanted[part])


def test_the_same_notice_is_the_same_to_the_last_byte():
    assert built("de")[0] == built("de")[0]


@pytest.mark.parametrize("code", LANGUAGES)
def test_text_and_html_say_the_same_and_no_picture_is_needed(code):
    _, parts = built(code)
    body = re.sub(r"<title>.*?</title>|<head>.*?</head>", "", parts["html"], flags=re.DOTALL)
    html = unescape(re.sub(r"<[^>]+>", "\n", body))
    addresses = re.findall(r'href="([^"]+)"', parts["html"])
    assert sorted(set(addresses)) == sorted(set(re.findall(r"https://\S+", parts["text"])))
    text = re.sub(r"https://\S+", "", parts["text"])

    def words(said: str) -> set[str]:
        return set(re.findall(r"\w+", said))

    numbers = set("1234")  # of the list, which HTML counts itself
    assert words(text) - numbers == words(html) - numbers
    for picture in re.findall(r"<img [^>]+>", parts["html"]):
        assert all(f"{name}=" in picture for name in ("alt", "width", "height"))


def test_the_drawn_picture_shows_leather_on_a_tint():
    with Image.open(BytesIO(draw_pair(PAIR))) as picture:
        assert picture.size == (224, 168)
        shares = {rgb[:3]: n for n, rgb in picture.convert("RGB").getcolors(50_000)}
    leather = tuple(bytes.fromhex(LEATHERS["walnut"][1:]))
    assert shares[leather] > 2_000
    assert len([n for n in shares.values() if n > 1_000]) >= 2
