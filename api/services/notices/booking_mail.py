"""Booking mail service: how does a customer read of a booked day, in words and as a calendar file?

The file is a request or a cancellation (iTIP, RFC 5546), carried by mail (iMIP, RFC 6047). Its day
is a whole day of the shop, so that no time zone of a reader moves it.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

from icalendar import Calendar, Event, vCalAddress
from markupsafe import Markup

from solespan.api.channels.message import Message
from solespan.api.notices.booking_words import booking_words
from solespan.api.notices.languages import language_of
from solespan.api.schemas.notices.notices import NoticeRules
from solespan.api.services.planning.dates import uid_of

__all__ = ["booking_mail", "calendar_file"]

PRODUCT = "-//solespan//booked days//EN"


def booking_mail(
    row: Mapping[str, Any], rules: NoticeRules, *, organizer: str, link: str, domain: str
) -> Message:
    """Write the mail of a message, in the customer's language."""
    language = language_of(row["language"], rules.language)
    subject, lead = booking_words(row["kind"], row["payload"], row["day"], language)
    button = language.gettext("Move or cancel it")
    change = "" if row["kind"] == "cancel" else f"{button}: {link}"
    contact = [line for line in (rules.shop_name, *rules.shop_contact.splitlines()) if line]
    text = "\n\n".join(part for part in (lead, change, "\n".join(contact)) if part) + "\n"
    html = Markup("<p>{}</p>").format(lead)
    if change:
        html += Markup('<p><a href="{}">{}</a></p>').format(link, button)
    html += Markup("<p>{}</p>").format(Markup("<br>").join(contact))
    method = {"request": "REQUEST", "cancel": "CANCEL"}.get(row["kind"], "")
    return Message(
        message_id=f"<{row['message_id']}@{domain}>",
        notice_id=row["message_id"],
        made_at=row["made_at"],
        customer_id=row["wearer_id"],
        customer_name=row["name"] or "",
        address=row["email"],
        subject=subject,
        text=text,
        html=str(html),
        unsubscribe_url="",
        pairs=(),
        calendar=calendar_file(row, method, rules, organizer, link) if method else "",
        calendar_method=method,
    )


def calendar_file(
    row: Mapping[str, Any], method: str, rules: NoticeRules, organizer: str, link: str
) -> str:
    """Write the calendar file of a message; the same message has the same file at every attempt."""
    told, say = row["payload"], language_of(row["language"], rules.language).gettext
    shop = rules.shop_name or say("Your shoemaker")
    summary = say("Post %(pair)s to %(shop)s", pair=told["pair"], shop=shop)
    if not told["by_post"]:
        summary = say("Bring %(pair)s to %(shop)s", pair=told["pair"], shop=shop)
    event = Event()
    event.add("uid", uid_of("booking", row["order_id"]))
    event.add("sequence", row["sequence"])
    event.add("dtstamp", row["made_at"])
    event.add("dtstart", row["day"])
    event.add("dtend", row["day"] + timedelta(days=1))
    event.add("summary", summary)
    event.add("transp", "TRANSPARENT")
    event.add("status", "CANCELLED" if method == "CANCEL" else "CONFIRMED")
    if not told["by_post"] and rules.shop_contact.strip():
        event.add("location", ", ".join(rules.shop_contact.split("\n")))
    if method == "REQUEST":
        event.add("url", link)
    host = vCalAddress(f"mailto:{organizer}")
    host.params["CN"] = shop
    event.add("organizer", host)
    guest = vCalAddress(f"mailto:{row['email']}")
    guest.params |= {"ROLE": "REQ-PARTICIPANT", "PARTSTAT": "ACCEPTED", "RSVP": "FALSE"}
    event.add("attendee", guest)
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", method)
    calendar.add_component(event)
    return str(calendar.to_ical().decode())
