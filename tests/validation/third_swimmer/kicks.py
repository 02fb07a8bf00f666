"""Leg movement: flutter, dolphin and breaststroke kicks as waves from hip over knee to ankle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .crawl import Stroke
from .script import Script
from .traits import SIDES, Side, Swimmer, other, sign

QUIET = (-2.0, 9.0, 0.0)
"""Hip flexion, knee flexion and abduction (deg) of a leg that trails."""


@dataclass(frozen=True)
class Kick:
    """One downbeat: moment of the fastest extension (s), size (1 = strong), sideways share."""

    side: Side
    time_s: float
    size: float
    sideways: float = 0.0


def flutter(
    swimmer: Swimmer, strokes: list[Stroke], start_s: float, end_s: float, rng: np.random.Generator
) -> list[Kick]:
    """Kicks locked to the arm cycles: opposite leg first after each left entry.

    After each right entry in a one-arm drill of the right arm.
    """
    kicks: list[Kick] = []
    side: Side = "right"
    leading: Side = "right" if any(s.ghost and s.side == "left" for s in strokes) else "left"
    cycles = [s for s in strokes if s.side == leading]
    for stroke in cycles:
        period = stroke.next_entry_s - stroke.entry_s
        count = swimmer.kick_beat or int(rng.choice([1, 2, 3, 4, 5], p=[0.1, 0.3, 0.3, 0.2, 0.1]))
        if swimmer.kick_beat:
            side = other(leading)
        for beat in range(count):
            shift = swimmer.kick_phase + rng.normal(0.0, 0.012 if swimmer.kick_beat else 0.04)
            time_s = stroke.entry_s + ((beat + 0.4 / count) / count + shift) * period
            size = swimmer.kick_pattern[beat % 6] * swimmer.kick_strength
            size *= 1.0 + rng.normal(0.0, 0.07)
            if start_s < time_s < end_s:
                kicks.append(Kick(side, time_s, size, 1.0 if swimmer.crossover else 0.0))
            side = other(side)
    return kicks


def steady(
    start_s: float, end_s: float, rate_hz: float, size: float, rng: np.random.Generator
) -> list[Kick]:
    """An even flutter of both legs, `rate_hz` downbeats of each leg a second."""
    times = np.arange(start_s, end_s, 0.5 / rate_hz)
    times = times + rng.normal(0.0, 0.012, times.size)
    sizes = size * (1.0 + rng.normal(0.0, 0.08, times.size))
    return [Kick(SIDES[i % 2], float(times[i]), float(sizes[i])) for i in range(times.size)]


def write_kicks(script: Script, kicks: list[Kick], longest_s: float = 0.46) -> None:
    """Knots of both legs; the thigh leads, the knee follows, the other leg may cross over."""
    for side in SIDES:
        own = sorted((k for k in kicks if k.side == side), key=lambda k: k.time_s)
        times = np.array([k.time_s for k in own])
        gaps = np.diff(times, prepend=times[:1] - 1.0) if times.size else times
        for index, kick in enumerate(own):
            after = gaps[index + 1] if index + 1 < len(own) else 1.0
            span = float(np.clip(min(gaps[index], after), 0.22, longest_s))
            small = float(np.clip(span / 0.42, 0.6, 1.0))
            bend = 9.0 + (10.0 + 46.0 * kick.size) * small
            down = 6.0 + 15.0 * kick.size * small
            cross = -sign(side) * 7.0 * kick.sideways
            track = script.legs[side]
            track.add(kick.time_s - 0.52 * span, -4.0 - 4.0 * kick.size, 10.0, 0.0)
            track.add(kick.time_s - 0.23 * span, 0.35 * down, bend, 0.5 * cross)
            track.add(kick.time_s + 0.06 * span, down, 9.0 + 0.4 * (bend - 9.0), cross)
            track.add(kick.time_s + 0.24 * span, 0.75 * down, 7.0, 0.7 * cross)
            if after > 1.6 * span:
                track.add(kick.time_s + 0.75 * span, *QUIET)


def write_dolphin(
    script: Script, start_s: float, end_s: float, rate_hz: float, size: float
) -> None:
    """Knots of both legs together and of the trunk's pitch; `size` 1 = strong."""
    for time_s in np.arange(start_s, end_s, 1.0 / rate_hz):
        span = float(np.clip(0.8 / rate_hz, 0.3, 0.6))
        script.both_legs(time_s - 0.45 * span, -6.0 * size, 12.0)
        script.both_legs(time_s - 0.18 * span, 8.0 * size, 12.0 + 48.0 * size)
        script.both_legs(time_s + 0.12 * span, 24.0 * size, 10.0)
        script.pitch.add(time_s - 0.3 * span, 5.0 * size)
        script.pitch.add(time_s + 0.25 * span, -6.0 * size)
    script.both_legs(end_s + 0.25, *QUIET)
    script.pitch.add(end_s + 0.2, 0.0)


def write_frog(script: Script, time_s: float, period_s: float) -> None:
    """Knots of one breaststroke kick that ends in the glide at `time_s`."""
    script.both_legs(time_s - 0.55 * period_s, *QUIET)
    script.both_legs(time_s - 0.33 * period_s, 38.0, 105.0, 10.0)
    script.both_legs(time_s - 0.2 * period_s, 28.0, 75.0, 24.0)
    script.both_legs(time_s, -2.0, 10.0, 2.0)
