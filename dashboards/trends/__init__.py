"""The season: a swimmer's figures over the visits, two visits side by side, a squad at a glance."""

from sensorswim.dashboards.trends.app import trends_app

__all__ = ["trends_app"]
