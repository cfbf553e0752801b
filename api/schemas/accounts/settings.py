"""HTTP schemas of settings: which fields does an answer about a shop's settings have?"""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from solespan.api.schemas.rack.records import Answer

__all__ = ["SettingRow", "SettingsGroup", "SettingsPage"]


class SettingRow(Answer):
    """One setting of the shop, with its default and where its value is from."""

    name: str = Field(description="group and field, with a dot between. Unit: none (text)")
    section: str = Field(description="title of its section of the pages. Unit: none (text)")
    page: str = Field(description="address of the page that has its field. Unit: none (address)")
    value: Any = Field(description="what holds now. Unit: that of the field in its group")
    default: Any = Field(description="what holds unless the shop chooses. Unit: the same")
    origin: Literal["shop", "machine", "default"] = Field(
        description="who chose the value: the shop, the operator's machine, or nobody. "
        "Unit: none (word)"
    )


class SettingsPage(Answer):
    """Every setting of the shop."""

    items: list[SettingRow] = Field(description="in the order of the pages. Unit: none (list)")


class SettingsGroup(Answer):
    """One group of settings and its version."""

    version: int = Field(description="counts the changes; 0 = the defaults. Unit: changes")
    settings: dict[str, Any] = Field(description="all values of the group. Unit: none (object)")
