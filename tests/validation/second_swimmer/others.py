"""The other strokes and the board, simple but with the right order of arms, legs and trunk."""

from __future__ import annotations

import numpy as np

from .body import SIDES, Motion
from .maths import Array, ease, hump
from .swimmer import Swimmer


def other_trunk(
    m: Motion, stroke: str, phase: Array, t: Array, gait: Array, swimmer: Swimmer
) -> None:
    """Lay out pitch, roll and head of a stroke that isn't the crawl."""
    if stroke == "backstroke":
        sway = gait * 0.6 * np.sin(phase)
        for name, share in (("shoulder_roll", 1.0), ("hip_roll", 0.7), ("leg_roll", 0.5)):
            m[name] = np.pi * gait + share * sway
        m["head_roll"] = np.pi * gait
        m["pitch"] = gait * swimmer.pitch
    elif stroke == "breaststroke":
        m["pitch"] = gait * (-0.28 + 0.30 * np.cos(phase))
        m["z"] = m["z"] + gait * 0.03 * np.cos(phase + 2.6)
        m["head_pitch"] = gait * (-0.2 + 0.2 * np.cos(phase))
    elif stroke == "butterfly":
        m["pitch"] = gait * (-0.08 + 0.22 * np.cos(phase + 0.6))
        m["z"] = m["z"] + gait * 0.06 * np.cos(phase + 2.2)
        m["head_pitch"] = gait * (0.05 + 0.35 * np.cos(phase + 0.3))
    else:
        m["pitch"] = gait * (swimmer.pitch - 0.06 + 0.01 * np.sin(0.7 * t))
        m["head_pitch"] = np.full(t.size, -0.5) * gait
        for name in ("shoulder_roll", "hip_roll", "leg_roll"):
            m[name] = gait * 0.05 * np.sin(phase)


def other_arms(stroke: str, side: str, phase: Array, t: Array, breakout: float) -> dict[str, Array]:
    """Return the joint angles of one arm of a stroke that isn't the crawl."""
    still = np.zeros(t.size)
    if stroke == "kick":
        held = 0.10 + 0.01 * np.sin(2.3 * t)
        return {
            "reach": held,
            "spread": still,
            "turn": still,
            "elbow": still + 0.12,
            "forearm": still,
        }
    rate = np.gradient(phase)
    begin = breakout
    if stroke == "backstroke" and side == "right":
        begin += float(np.pi / np.interp(breakout, t, rate) * (t[1] - t[0]))
    running = np.cumsum(rate * ease(t, begin - 0.3, begin + 0.5))
    if stroke == "backstroke":
        pull = hump(running, 0.5 * np.pi, 1.5)
        return {
            "reach": -running,
            "spread": 0.08 + 0.6 * pull,
            "turn": still + np.pi,
            "elbow": 0.08 + 1.1 * hump(running, 0.5 * np.pi, 2.5),
            "forearm": still - 1.2,
        }
    if stroke == "breaststroke":
        out, inward = hump(running, 0.45 * np.pi, 2.5), hump(running, 0.85 * np.pi, 2.5)
        return {
            "reach": 0.10 + 0.35 * out + 1.1 * inward,
            "spread": 0.65 * out + 0.1 * inward,
            "turn": -1.1 * out - 1.4 * inward,
            "elbow": 0.10 + 0.5 * out + 1.7 * inward,
            "forearm": -0.5 * out + 0.7 * inward,
        }
    pull = hump(running, 0.5 * np.pi, 2.5)
    recovery = hump(running, 1.45 * np.pi, 2.0)
    return {
        "reach": running + 0.3 * np.sin(running),
        "spread": 0.10 + 0.2 * pull + 1.0 * recovery,
        "turn": -0.8 * pull,
        "elbow": 0.10 + 1.0 * pull + 0.1 * recovery,
        "forearm": 0.5 * pull - 0.6 * recovery,
    }


def other_legs(m: Motion, stroke: str, phase: Array, gait: Array) -> None:
    """Lay out hips and knees of a stroke that isn't the crawl."""
    for side in SIDES:
        half = np.pi if side == "right" else 0.0
        if stroke == "backstroke":
            beat = 3.0 * phase + half
            hip, knee, spread = 0.18 * np.sin(beat), 0.3 * (1.0 + np.sin(beat + 1.9)), 0.0 * beat
        elif stroke == "butterfly":
            beat = 2.0 * phase + 0.8
            hip, knee, spread = 0.22 * np.sin(beat), 0.45 * (1.0 + np.sin(beat + 1.9)), 0.0 * beat
        else:
            drawn, whip = hump(phase, 3.6, 3.0), hump(phase, 4.3, 4.0)
            hip, knee, spread = 0.7 * drawn, 1.9 * drawn + 0.5 * whip, 0.5 * whip
        for joint, value in (("hip", hip), ("knee", knee), ("open", spread)):
            m[f"{side}_{joint}"] = m[f"{side}_{joint}"] + gait * value
