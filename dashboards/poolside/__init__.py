"""The poolside page: a card a swimmer, fresh while they swim."""

from sensorswim.dashboards.poolside.app import poolside_app
from sensorswim.dashboards.poolside.door import Door, Phrases

__all__ = ["Door", "Phrases", "poolside_app"]
