"""Which way a limb's sensor sits, from how the limb is swung.

A limb turns about the joint nearer to the trunk, which draws its end inwards by the square of the
turn rate times its distance (centripetal acceleration). So the mean acceleration in the swim, by
far not nought, points back to the joint, whatever the stroke, the strap and the face of the casing.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from sensorswim.model import Track
from sensorswim.model.streams import BoolArray
from sensorswim.signal.rotations import up_in_sensor
from sensorswim.units import STANDARD_GRAVITY_M_S2

_LEAST_M_S2: Final = 0.2
"""A smaller mean acceleration may be the sensor's error. Of 488 wrists and ankles of synthetic
swimmers of six builds, three of them reversed, the smallest had 0.1, eight less than 0.4, and all
were told rightly (our choice)."""


def outwards(track: Track, swimming: BoolArray) -> float:
    """Return 1 where the x axis points away from the trunk, -1 towards it, 0 where none can tell.

    Parameters
    ----------
    track : Track
        Of a limb, oriented.
    swimming : (N,) bool
        When it swam.
    """
    assert track.q_world_from_sensor is not None
    rows = swimming & track.valid
    if not rows.any():
        return 0.0
    tilt = up_in_sensor(track.q_world_from_sensor[rows])[:, 0]
    drawn_m_s2 = float(np.mean(track.accel_m_s2[rows, 0] - STANDARD_GRAVITY_M_S2 * tilt))
    return -float(np.sign(drawn_m_s2)) if abs(drawn_m_s2) > _LEAST_M_S2 else 0.0
