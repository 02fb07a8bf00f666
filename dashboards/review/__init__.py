"""The review: a session beside its video, stroke by stroke."""

from sensorswim.dashboards.review.app import review_app
from sensorswim.dashboards.review.shelf import Shelf, key_of

__all__ = ["Shelf", "key_of", "review_app"]
