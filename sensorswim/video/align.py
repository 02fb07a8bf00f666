"""Puts a clip in its place in the session by knocks that both have."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from sensorswim.model.streams import FloatArray

_TOLERANCE_S: Final = 0.03


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where a clip begins.

    Parameters
    ----------
    starts_at_s : float
        Session time of the first frame.
    error_s : float
        The largest distance between a knock seen by the sensors and the same one heard.
    knock_video_s, knock_session_s : float
        The middle knock in both.
    """

    starts_at_s: float
    error_s: float
    knock_video_s: float
    knock_session_s: float


def place_by_knocks(heard_s: FloatArray, felt_s: FloatArray) -> list[Place]:
    """Return the places where knocks heard and knocks felt fit, the best fit first.

    The spacing of the three knocks, which people never repeat exactly, tells one triplet from
    another. Several places come back where more than one fits.

    Parameters
    ----------
    heard_s : (K, 3)
        Triplets in the clip's sound, in s after its first frame.
    felt_s : (M, 3)
        Triplets in the sensors, in session time.
    """
    places = []
    for heard in heard_s:
        for felt in felt_s:
            start = float(np.mean(felt - heard))
            error = float(np.abs(felt - heard - start).max())
            if error < _TOLERANCE_S:
                place = Place(
                    starts_at_s=start,
                    error_s=error,
                    knock_video_s=float(heard[1]),
                    knock_session_s=float(felt[1]),
                )
                places.append(place)
    return sorted(places, key=lambda place: place.error_s)
