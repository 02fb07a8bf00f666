"""A sensor's log as its clock is looked for: each view is worked out when first asked for."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from sensorswim.model import ClockFit, Samples, Stream
from sensorswim.signal.envelopes import Envelope, movement_envelope
from sensorswim.signal.pushes import Pushes, Travel, find_pushes, travel_of
from sensorswim.signal.shakes import Shakes, find_shakes


@dataclass(frozen=True, kw_only=True)
class Sensor:
    """What is compared of one sensor."""

    stream: Stream

    @cached_property
    def envelope(self) -> Envelope:
        """How much it moves."""
        return movement_envelope(self.stream)

    @cached_property
    def shakes(self) -> Shakes:
        """Its shocks in quiet moments."""
        return find_shakes(self.stream)

    @cached_property
    def travel(self) -> Travel:
        """Its horizontal acceleration."""
        return travel_of(self.stream)

    @cached_property
    def pushes(self) -> Pushes:
        """Its possible push-offs."""
        return find_pushes(self.travel)

    @property
    def middle_s(self) -> float:
        """Device time halfway through its log."""
        return 0.5 * float(self.stream.accel.time_s[0] + self.stream.accel.time_s[-1])

    def moved(self, fit: ClockFit) -> Sensor:
        """Return the sensor, whose clock is known, in session time."""

        def in_session_time(samples: Samples) -> Samples:
            return replace(samples, time_s=fit.to_session(samples.time_s))

        accel, gyro = in_session_time(self.stream.accel), in_session_time(self.stream.gyro)
        return Sensor(stream=replace(self.stream, accel=accel, gyro=gyro))
