"""Frame of a drawing: where do the axes of one figure stand, and what is written around them?"""

from __future__ import annotations

from dataclasses import dataclass

from solespan.dashboards.drawing.scale import Scale

__all__ = ["CHARACTER", "Frame"]

CHARACTER = 0.56  # mean width of a letter, as a share of the font size


@dataclass(frozen=True)
class Frame:
    """Places of one drawing: scales, where the ticks are written, key and labels.

    strip : the scale of marks that stand below the upright axis, off its numbers.
    labels : (pixel, words) at the ends of lines, none over another.
    """

    name: str
    width_px: int
    height_px: float
    font_px: int
    axes: bool
    x: Scale
    y: Scale
    strip: Scale | None
    ticks_px: float
    header: tuple[str, ...]
    labels: tuple[tuple[float, str], ...]

    def wide(self, words: str) -> float:
        """About how wide words are."""
        return CHARACTER * self.font_px * len(words)
