"""Register of pages: which modules of pages does the service have, and in which order?

The navigation follows the order. Routes are asked in it too. The links' and choices' pages come
before the notices' own, which take any id. The pair's page takes every address under `/pairs` that
is left, so it comes last.
"""

from __future__ import annotations

from solespan.api.routes import figures, help_pages, phone
from solespan.api.routes.accounts import (
    account_pages,
    customer_pages,
    device_pages,
    factor_pages,
    my_pages,
    passkey_pages,
    people_pages,
    settings_pages,
    sign_in_pages,
)
from solespan.api.routes.bench import (
    asking_page,
    customer_search_page,
    desk_pages,
    order_forms,
    order_pages,
    quote_page,
    reception_pages,
    stock_page,
    workload_page,
)
from solespan.api.routes.forecasts import look_back_pages
from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.importing import export_pages, import_pages
from solespan.api.routes.notices import (
    booking_pages,
    choice_pages,
    hook_pages,
    link_pages,
    many_consents_page,
    notice_pages,
    preview_pages,
)
from solespan.api.routes.planning import plan_page, reminder_pages, what_if_page
from solespan.api.routes.rack import (
    add_pages,
    change_pages,
    home_page,
    log_pages,
    pair_pages,
    photo_pages,
    rack_pages,
    record_pages,
    sharing_pages,
    sole_pages,
    tag_pages,
    thumb_form_page,
    today_pages,
    wear_pages,
)

__all__ = ["PAGES"]

PAGES: tuple[PageEntry, ...] = (
    home_page.PAGE,
    log_pages.PAGE,
    plan_page.PAGE,
    rack_pages.PAGE,
    what_if_page.PAGE,
    reminder_pages.PAGE,
    add_pages.PAGE,
    import_pages.PAGE,
    change_pages.PAGE,
    export_pages.PAGE,
    desk_pages.PAGE,
    reception_pages.PAGE,
    quote_page.PAGE,
    order_pages.PAGE,
    order_forms.PAGE,
    workload_page.PAGE,
    customer_search_page.PAGE,
    asking_page.PAGE,
    stock_page.PAGE,
    link_pages.PAGE,
    booking_pages.PAGE,
    choice_pages.PAGE,
    many_consents_page.PAGE,
    preview_pages.PAGE,
    notice_pages.PAGE,
    hook_pages.PAGE,
    look_back_pages.PAGE,
    settings_pages.PAGE,
    people_pages.PAGE,
    customer_pages.PAGE,
    my_pages.PAGE,
    sign_in_pages.PAGE,
    factor_pages.PAGE,
    passkey_pages.PAGE,
    account_pages.PAGE,
    device_pages.PAGE,
    help_pages.PAGE,
    phone.PAGE,
    wear_pages.PAGE,
    today_pages.PAGE,
    tag_pages.PAGE,
    thumb_form_page.PAGE,
    photo_pages.PAGE,
    sharing_pages.PAGE,
    sole_pages.PAGE,
    record_pages.PAGE,
    figures.PAGE,
    pair_pages.PAGE,
)
