"""Front crawl: moments of every stroke, places of the hands, roll and breaths."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .curves import Track
from .script import Script
from .traits import LengthPlan, Side, Swimmer, other, sign

SURFACE_M = 0.11
"""Height of the water above the hip centre while swimming."""


@dataclass(frozen=True)
class Stroke:
    """Moments of one arm stroke (s); `streamlined` strokes start without an entry,
    `ghost` strokes only roll the body (the arm that rests in a one-arm drill).
    """

    side: Side
    entry_s: float
    catch_s: float
    mid_s: float
    exit_s: float
    next_entry_s: float
    breath: bool
    streamlined: bool = False
    ghost: bool = False


def _breaths(pattern: str, count: int, first: Side, rng: np.random.Generator) -> list[bool]:
    """Whether the face turns after each entry; the side follows from the arm in front."""
    breathing = np.zeros(count, dtype=bool)
    if pattern in ("3", "4"):
        every = int(pattern)
        breathing[int(rng.integers(3, 3 + every)) :: every] = True
    elif pattern.startswith("2"):
        leading = other("left" if pattern.endswith("left") else "right")
        breathing[4 if leading == first else 3 :: 2] = True
    elif pattern == "free":
        index = int(rng.integers(3, 6))
        while index < count:
            breathing[index] = True
            index += int(rng.choice([2, 2, 3, 4, 5, 6]))
    return [bool(b) for b in breathing]


def schedule(
    swimmer: Swimmer, plan: LengthPlan, start_s: float, span_s: float, rng: np.random.Generator
) -> list[Stroke]:
    """Strokes from the first pull at `start_s` on, for at least `span_s`, in order of entry."""
    period = 60.0 / swimmer.rate_cycles_min
    pull, recovery = swimmer.propulsion_fraction * period, swimmer.recovery_fraction * period
    count = int(np.ceil(2.0 * span_s / period)) + 8
    breathing = _breaths(plan.breathing, count, plan.first_side, rng)
    sides: list[Side] = [
        plan.first_side if index % 2 == 0 else other(plan.first_side) for index in range(count)
    ]
    asymmetry = np.array([sign(s) for s in sides]) * swimmer.arm_asymmetry
    halves = 0.5 * period * (1.0 + asymmetry + rng.normal(0.0, swimmer.variation, count))
    halves += 0.6 * swimmer.breath_hold_s * np.array(breathing)
    entries = start_s + pull + recovery - period + np.concatenate([[0.0], np.cumsum(halves)])
    drill = plan.single_arm
    strokes = []
    for index in range(count - 1):
        after = float(entries[index + 2] if index + 2 < count else entries[index + 1])
        back = recovery * (1.0 + rng.normal(0.0, 0.5 * swimmer.variation))
        exit_s = after - back
        catch_s = exit_s - pull * (1.0 + rng.normal(0.0, 0.5 * swimmer.variation))
        catch_s = max(catch_s, float(entries[index]) + 0.1)
        mid_s = catch_s + float(rng.uniform(0.48, 0.56)) * (exit_s - catch_s)
        strokes.append(
            Stroke(
                sides[index], float(entries[index]), catch_s, mid_s, exit_s, after,
                breathing[index], index < 2, drill not in (None, sides[index]),
            )
        )  # fmt: skip
    return strokes


def write_roll(
    script: Script, swimmer: Swimmer, strokes: list[Stroke], start_s: float, end_s: float,
    rng: np.random.Generator,
) -> Track:  # fmt: skip
    """Roll of the shoulders and turn of the face (deg, both against the pool) over a length."""
    period = 60.0 / swimmer.rate_cycles_min
    roll, face = Track(), Track()
    roll.add(start_s - 0.1, 0.0)
    face.add(start_s - 0.1, 0.0)
    for stroke in strokes:
        if stroke.streamlined and stroke.entry_s < start_s:
            continue
        up = -sign(stroke.side)
        peak = swimmer.roll_left_up_deg if up > 0.0 else swimmer.roll_right_up_deg
        peak *= 1.0 + rng.normal(0.0, 1.3 * swimmer.variation)
        lag = (0.05 + 0.25 * max(0.0, 0.45 - swimmer.propulsion_fraction)) * period
        middle, half = stroke.entry_s + lag + 0.04 * period, 0.015 * period
        if stroke.breath:
            peak *= 1.0 + swimmer.breath_extra_roll
            half += 0.5 * swimmer.breath_hold_s
            middle += 0.3 * swimmer.breath_hold_s
            turned = up * max(peak + rng.normal(14.0, 3.0), rng.normal(74.0, 4.0))
            face.add(middle - half - 0.22 * period, 0.06 * up * peak)
            face.add(middle - half + 0.02 * period, turned)
            face.add(middle + half + 0.03 * period, 0.96 * turned)
            face.add(middle + half + 0.24 * period, 0.0)
        else:
            face.add(middle, 0.08 * up * peak)
        roll.add(middle - half, up * peak * (1.0 - 0.04 * rng.random()))
        roll.add(middle + half, up * peak)
    for track, target in ((roll, script.roll), (face, script.face_roll)):
        target.extend(track, end_s)
        target.add(end_s + 0.35, 0.0)
    return roll


def write_arms(
    script: Script, swimmer: Swimmer, strokes: list[Stroke], roll: Track, last_entry_s: float,
    rng: np.random.Generator,
) -> None:  # fmt: skip
    """Hand knots of every stroke; hands that would enter after `last_entry_s` stay at the hip."""
    arm, width = swimmer.arm_m, swimmer.shoulder_m
    upper, fore = swimmer.upper_arm_m, swimmer.forearm_m
    bent = (0.0, 0.9, 0.25) if swimmer.straight_recovery else (0.0, 0.55, 0.8)
    rise = swimmer.trunk_m * float(np.sin(np.radians(1.2 - swimmer.pitch_deg)))
    mid_roll = np.radians(roll.curve(np.array([s.mid_s for s in strokes]) + 1e-4))
    for stroke, phi in zip(strokes, mid_roll, strict=True):
        side, s = stroke.side, sign(stroke.side)
        elbow = np.radians(np.clip(swimmer.elbow_deg + rng.normal(0.0, 3.0), 94.0, 170.0))
        reach = float(np.sqrt(upper**2 + fore**2 - 2.0 * upper * fore * np.cos(elbow)))
        across = float(np.clip(swimmer.pull_across + rng.normal(0.0, 0.03), -0.25, 0.4))
        drop = s * width * np.sin(phi) + rise
        mid = (
            0.0,
            width * (np.cos(phi) - 1.0) - across * reach,
            drop - float(np.sqrt(1.0 - across**2)) * reach,
        )
        if not stroke.streamlined:
            wide = float(rng.normal(-0.02, 0.02))
            script.hand(stroke.entry_s, side, (0.80 * arm, wide, SURFACE_M), bent, (0.0, 0.3, 1))
            reached = stroke.entry_s + 0.55 * (stroke.catch_s - stroke.entry_s)
            script.hand(
                reached, side, (0.985 * arm, 0.0, -0.07), (0.0, 0.65, 0.75), (0.05, 0.1, 1.0)
            )
        if stroke.entry_s >= last_entry_s:
            continue
        deep = mid[2]
        catch = stroke.catch_s - 0.04
        script.hand(
            catch, side, (0.93 * arm, 0.02, -0.05 + 0.36 * deep), (0.0, 0.8, 0.6), (0.3, 0.1, 1.0)
        )
        script.hand(stroke.mid_s, side, mid, (0.15, 0.95, 0.3), (1.0, 0.1, 0.15))
        late = 0.5 * (stroke.exit_s + stroke.mid_s)
        script.hand(
            late, side, (-0.52 * arm, 0.5 * mid[1], 0.62 * deep), (0.0, 0.8, 0.55), (0.7, 0.6, -0.3)
        )
        if stroke.next_entry_s >= last_entry_s + 1e-6:
            rest = (-0.93 * arm, 0.05, -0.06)
            script.hand(stroke.exit_s + 0.1, side, rest, (0.0, 0.5, 0.85), (0.0, 1.0, 0.0))
            continue
        script.hand(stroke.exit_s, side, (-0.76 * arm, 0.10, SURFACE_M), bent, (0.1, 1.0, -0.1))
        half_way = stroke.exit_s + 0.5 * (stroke.next_entry_s - stroke.exit_s)
        lift = SURFACE_M + 0.05 + 0.08 * swimmer.recovery_height + float(rng.normal(0.0, 0.01))
        if swimmer.straight_recovery:
            high = (0.02, 0.42 * arm, SURFACE_M + (0.5 + 0.2 * swimmer.recovery_height) * arm)
            script.hand(half_way, side, high, (0.0, 0.9, -0.3), (-0.7, 0.7, 0.1))
        else:
            high = (0.02, 0.36 * arm, lift)
            script.hand(half_way, side, high, (-0.1, 0.3, 1.0), (0.5, 0.8, 0.4))
