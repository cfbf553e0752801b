"""Register of wear models: which are there to forecast from, and to score beside each other?

Each entry says from a log when soles are due. The first is the one that the service forecasts
from. The look back scores all of them, and `solespan forecast --model NAME` shows one.
"""

from solespan.forecast.dates.models import baselines, nested, renewal
from solespan.forecast.dates.models.entry import DueModel, DueRows

__all__ = ["MODELS", "NESTED", "DueModel", "DueRows"]

NESTED = nested.ENTRY
MODELS: dict[str, DueModel] = {
    model.name: model
    for model in (
        NESTED,
        baselines.LINE,
        baselines.RATE,
        renewal.ENTRY,
    )
}
