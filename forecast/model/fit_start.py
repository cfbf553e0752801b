"""Starting values.

From which spreads and noise does a fit set out, and where had one got to that was stopped?
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from solespan.forecast.model.linearise import Noise
from solespan.forecast.observation.attrition import Leaving
from solespan.forecast.observation.removal_threshold import Sending
from solespan.forecast.observation.thumb import ThumbScale

__all__ = ["FitStart", "noise_from_dict", "noise_to_dict"]


@dataclass(frozen=True)
class FitStart:
    """Spreads (by the names of `forecast.priors.SPREADS`) and noise after some rounds."""

    spread: dict[str, float]
    noise: Noise
    rounds: int = 0

    def to_dict(self) -> dict[str, Any]:
        """Plain values that JSON can hold; `from_dict` undoes it."""
        return {"spread": self.spread, "rounds": self.rounds, **noise_to_dict(self.noise)}

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> FitStart:
        """Read a stored start. Raises `KeyError` or `TypeError` for another model's."""
        return cls(dict(data["spread"]), noise_from_dict(data), int(data["rounds"]))


def noise_to_dict(noise: Noise) -> dict[str, Any]:
    """Noise as plain values."""
    return {
        "gauge_sd_mm": list(noise.gauge_sd_mm),
        "process_mm": noise.process_mm,
        "thumb": vars(noise.thumb).copy(),
        "sending": vars(noise.sending).copy(),
        "unlogged_sending": vars(noise.unlogged_sending).copy(),
        "leaving": vars(noise.leaving).copy(),
        "slip_share": noise.slip_share,
    }


def noise_from_dict(data: dict[str, Any]) -> Noise:
    """Undo `noise_to_dict`."""
    return Noise(
        tuple(data["gauge_sd_mm"]),
        data["process_mm"],
        ThumbScale(**data["thumb"]),
        sending=Sending(**data["sending"]),
        slip_share=data["slip_share"],
        unlogged_sending=Sending(**data["unlogged_sending"]),
        leaving=Leaving(**data["leaving"]),
    )
