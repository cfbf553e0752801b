"""Has each action of a page a command, or a reason why not?"""

from __future__ import annotations

import pytest
from fastapi.routing import APIRoute
from typer.main import get_command

from solespan.api.cli.main import build_app
from solespan.api.routes.page_register import PAGES

SESSION = "a browser signs in and out; a command works without"
DEVICE = "a browser of the household comes in or goes; a command works without"
WAY = "only a browser can say where its push messages go; the command calendar writes a file"
LINK = "the customer's own answer, which only the link in a letter opens"
SEARCH = "it changes nothing; every command finds a pair by its name"
COMMANDS = {
    "/plan": "plan",
    "/wear": "wear",
    "/thumb": "check",
    "/wear/change": "wear",
    "/wear/undo": "undo",
    "/my/wear": "wear",
    "/my/quote": "agree",
    "/my/check": "check",
    "/my/book": "book",
    "/my/choices": "notices consent",
    "/pairs/{pair_id:path}/thumb": "check",
    "/pairs/{pair_id:path}/checks": "check",
    "/pairs/{pair_id:path}/wear-days": "wear",
    "/pairs/{pair_id:path}/send": "hand-over",
    "/pairs/{pair_id:path}/back": "receive",
    "/pairs/{pair_id:path}/fit": "add sole",
    "/pairs/{pair_id:path}/end": "retire",
    "/pairs/{pair_id:path}/gone": "retire",
    "/pairs/{pair_id:path}/in-use": "in-use",
    "/pairs/{pair_id:path}/edit": "edit pair",
    "/pairs/{pair_id:path}/delete": "delete pair",
    "/add": "add pair",
    "/care": "care",
    "/import": "import",
    "/import/{ticket}": "import",
    "/example": "add example",
    "/export/restore": "import",
    "/bench": "book",
    "/reception": "take-in",
    "/bench/{order_id}/moves": "move",
    "/bench/{order_id}/quote": "agree",
    "/bench/{order_id}/{kind}": "file-paper",
    "/bench-photographs": "photo",
    "/bench-photographs/{photo_id}/taken-away": "remove-photo",
    "/workload/plan": "bench-plan",
    "/stock": "keep-item",
    "/stock/line": "stock",
    "/stock/supplier": "purchase supplier",
    "/stock/order": "purchase order",
    "/stock/receive": "purchase receive",
    "/stock/cancel": "purchase cancel",
    "/past-forecasts": "backtest",
    "/notices/send": "notices send",
    "/notices/customers": "notices consent",
    "/notices/customers/many": "notices consent-of-many",
    "/notices/letters": "notices letters",
    "/hooks": "hooks add",
    "/hooks/{endpoint_id}/change": "hooks change",
    "/hooks/{endpoint_id}/rotate": "hooks rotate",
    "/hooks/{endpoint_id}/delete": "hooks delete",
    "/hooks/events/{event_id}/resend": "hooks resend",
    "/notices/wording": "settings set",
    "/notices/{notice_id}/retry": "notices retry",
    "/customers/{wearer_id}/erase": "customer-erase",
    "/people/{what}": "accounts invite",
    "/account/sessions": "accounts end-sessions",
    "/settings/{name}": "settings set",
    "/settings/test-mail": "settings test-mail",
    "/history/{revision_id}/undo": "undo",
    "/log": "wear",
    "/today": "edit wearer",
    "/pair-photographs": "add photo",
    "/pair-photographs/{photo_id}/taken-away": "delete photo",
    "/log/pace": "edit pair",
    "/records/{table}/{text:path}/edit": "edit record",
    "/records/{table}/{text:path}/delete": "delete record",
    "/records/{table}/{text:path}/put-back": "put-back",
    "/records/{table}/{text:path}/move": "edit record",
}
SHARED = "a link is made where its page is seen, and shown once"
VIEW = "it changes only which pages this browser lists"
SEEN = "it takes an answer off the page's list; the command notices list shows every answer"
NONE = {
    "/shop-pages": VIEW,
    "/first-page": VIEW,
    "/find-customer": "find-customer",
    "/reception/who": SEARCH,
    "/desk/seen": SEEN,
    "/shared-pages": SHARED,
    "/shared-pages/{share_id}/ended": SHARED,
    "/find": SEARCH,
    "/answers/{token}": LINK,
    "/bookings/{token}": LINK,
    "/unsubscribe/{token}": LINK,
    "/sign-in": SESSION,
    "/sign-in/code": SESSION,
    "/account/second-factor/{what}": SESSION,
    "/account/passkeys": SESSION,
    "/account/passkeys/question": SESSION,
    "/sign-in/passkey": SESSION,
    "/sign-in/passkey/question": SESSION,
    "/sign-out": SESSION,
    "/join/{secret}": SESSION,
    "/open/{secret}": SESSION,
    "/account/password": SESSION,
    "/account/enter": SESSION,
    "/reminders/calendar": WAY,
    "/reminders/{what}": WAY,
    "/reminders/off/{token}": LINK,
    "/devices/code": DEVICE,
    "/devices/{what}": DEVICE,
    "/connect/{secret}": DEVICE,
}


def actions(routers) -> set[str]:
    """Every address of a page that takes a form, also of the routers that a router includes."""
    found = set()
    for router in routers:
        for route in router.routes:
            if isinstance(route, APIRoute):
                found |= {route.path} if "POST" in route.methods else set()
            else:
                found |= actions([route.original_router])
    return found


ACTIONS = actions(page.router for page in PAGES)


@pytest.mark.parametrize("action", sorted(ACTIONS - set(NONE)))
def test_an_action_has_a_command(action):
    found = get_command(build_app())
    for word in COMMANDS[action].split():
        found = found.commands[word]


def test_nothing_is_listed_that_no_page_does():
    assert {*COMMANDS, *NONE} == ACTIONS


def test_an_option_means_the_same_everywhere():
    """One short form for each name, and no option that others name otherwise."""
    seen: dict[str, set[tuple[str, ...]]] = {}

    def walk(command, name):
        for option in command.params:
            for word in option.opts:
                if word.startswith("--"):
                    short = tuple(sorted(o for o in option.opts if not o.startswith("--")))
                    seen.setdefault(word, set()).add(short)
        for word, one in getattr(command, "commands", {}).items():
            walk(one, f"{name} {word}")

    walk(get_command(build_app()), "solespan")
    assert {word for word, shorts in seen.items() if len(shorts) > 1} == set()
    assert not {"--csv", "--to", "--expected-on", "--output", "--file", "--date"} & set(seen)
