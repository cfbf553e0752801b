"""HTTP schemas of second factors: what do authenticators, passkeys and codes look like?"""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from solespan.api.schemas.accounts.accounts import Instant, MaybeInstant

__all__ = ["Codes", "Enrolment", "FirstCode", "Password", "SecondFactors"]

LONGEST = 500  # a longer text is no password, code or name of ours
PasswordText = Annotated[
    str, Field(max_length=LONGEST, description="the person's password. Unit: none (text)")
]


class _Given(BaseModel):
    model_config = ConfigDict(extra="forbid")


class Password(_Given):
    """The password again, as for each change of a second factor."""

    password: PasswordText


class FirstCode(_Given):
    """The code that a new authenticator shows."""

    secret: Annotated[
        str, Field(max_length=LONGEST, description="`secret` of the seed. Unit: none (opaque text)")
    ]
    code: Annotated[
        str, Field(max_length=LONGEST, description="what it shows now. Unit: none (six digits)")
    ]


class Enrolment(BaseModel):
    """A seed, shown this once; the first code must follow within ten minutes."""

    secret: Annotated[
        str, Field(description="names this seed at the next step. Unit: none (opaque text)")
    ]
    seed: Annotated[str, Field(description="what an authenticator takes. Unit: none (base 32)")]
    address: Annotated[
        str, Field(description="the same for a square code. Unit: none (otpauth address)")
    ]


class Codes(BaseModel):
    """Recovery codes, shown this once."""

    recovery_codes: Annotated[
        list[str], Field(description="none where there were some before. Unit: none (codes)")
    ]


class _Factor(BaseModel):
    factor_id: Annotated[str, Field(description="name it is removed by. Unit: none (identifier)")]
    name: Annotated[str, Field(description="what its person calls it. Unit: none (text)")]
    made_at: Instant
    used_at: MaybeInstant


class Authenticator(_Factor):
    """A program that makes codes, without its seed."""


class Passkey(_Factor):
    """A key pair of a device, without the key."""


class SecondFactors(BaseModel):
    """What a person shows beside the password."""

    authenticators: Annotated[
        list[Authenticator], Field(description="first made first. Unit: none (records)")
    ]
    passkeys: Annotated[list[Passkey], Field(description="first made first. Unit: none (records)")]
    codes_left: Annotated[int, Field(description="unused recovery codes. Unit: codes")]
    needed: Annotated[
        bool,
        Field(
            description="whether the shop asks for one before anything else. Unit: true or false"
        ),
    ]
