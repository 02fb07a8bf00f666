"""From logs to oriented signals: clocks, regular time and gaps, orientation."""

from sensorswim.signal.orientation import accel_world, orient
from sensorswim.signal.recording import prepare
from sensorswim.signal.rotations import rotate, rotate_back, up_in_sensor

__all__ = ["accel_world", "orient", "prepare", "rotate", "rotate_back", "up_in_sensor"]
