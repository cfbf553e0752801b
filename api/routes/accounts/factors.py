"""HTTP routes of second factors: which has the person who asks, and how are they changed?

All are for a person who is signed in, and each change asks for the password. A key for programs is
refused: a stolen one must not weaken its maker's account. A passkey is added on the page only, as a
browser at the service's address must ask the device.
"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Path, Response

from solespan.api.routes.accounts.factor_pages import issuer_of
from solespan.api.routes.http.requests import (
    PROBLEM_ANSWERS,
    Context,
    Sender,
    json_answer,
    needs_json,
    plain,
)
from solespan.api.schemas.accounts.factors import (
    Codes,
    Enrolment,
    FirstCode,
    Password,
    SecondFactors,
)
from solespan.api.schemas.fields import KnownId
from solespan.api.services.accounts import second_factor, totp

__all__ = ["router"]

router = APIRouter(prefix="/v1/second-factor", tags=["accounts"], responses=PROBLEM_ANSWERS)
_AS_JSON = [Depends(needs_json)]
_NOT_KEPT = {"cache-control": "no-store"}


@router.get("", response_model=None, responses={200: {"model": SecondFactors}})
def read_second_factor(ctx: Context, who: Sender) -> Response:
    """List the authenticators, passkeys and unused recovery codes of the person who asks."""
    person_pk = second_factor.person_of(who)
    with ctx.database.reading() as session:
        mine = second_factor.overview(session, person_pk)
    return json_answer(
        {
            "authenticators": [plain(row) for row in mine["factors"]],
            "passkeys": [plain(row) for row in mine["passkeys"]],
            "codes_left": mine["codes_left"],
            "needed": who.must_enrol,
        }
    )


@router.put(
    "/seed", response_model=None, responses={200: {"model": Enrolment}}, dependencies=_AS_JSON
)
def make_seed(ctx: Context, who: Sender, given: Password) -> Response:
    """Make a seed for a new authenticator, shown only once; its first code must follow."""
    made = second_factor.begin_enrolment(
        ctx.database, who, password=given.password, now=ctx.clock.now()
    )
    address = totp.address_of(made.seed, account=who.actor, issuer=issuer_of(ctx))
    told = {"secret": made.secret, "seed": made.seed, "address": address}
    return json_answer(told, headers=_NOT_KEPT)


@router.put(
    "/authenticators/{name}",
    response_model=None,
    responses={200: {"model": Codes}},
    dependencies=_AS_JSON,
)
def add_authenticator(
    ctx: Context,
    who: Sender,
    name: Annotated[
        str,
        Path(min_length=1, max_length=100, description="what to call it. Unit: none (text)"),
    ],
    given: FirstCode,
) -> Response:
    """Keep the authenticator whose code this is; the first one brings recovery codes."""
    codes = second_factor.confirm_enrolment(
        ctx.database, who, secret=given.secret, code=given.code, name=name, now=ctx.clock.now()
    )
    return json_answer({"recovery_codes": codes}, headers=_NOT_KEPT)


@router.put("/removals/{factor_id}", response_model=None, status_code=204, dependencies=_AS_JSON)
def remove_second_factor(
    ctx: Context,
    who: Sender,
    factor_id: Annotated[
        KnownId, Path(description="which authenticator or passkey. Unit: none (identifier)")
    ],
    given: Password,
) -> Response:
    """Remove an authenticator or a passkey; recovery codes go with the last one."""
    second_factor.remove_factor(
        ctx.database, who, password=given.password, factor_id=factor_id, now=ctx.clock.now()
    )
    return Response(status_code=204)


@router.put(
    "/recovery-codes", response_model=None, responses={200: {"model": Codes}}, dependencies=_AS_JSON
)
def make_recovery_codes(ctx: Context, who: Sender, given: Password) -> Response:
    """Make recovery codes in the place of the ones before, shown only once."""
    codes = second_factor.new_codes(ctx.database, who, password=given.password, now=ctx.clock.now())
    return json_answer({"recovery_codes": codes}, headers=_NOT_KEPT)
