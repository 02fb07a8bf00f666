"""One length from wall to wall: push, glide, breakout, swimming, and a turn or a touch."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter1d

from .arms import ArmCycle, float_height, plain_roll, roll_phase, set_arm, still_pose, surges
from .body import ARM, SIDES, SIGN, Build, Motion, Pose, Skeleton, leg_bend
from .maths import (
    RATE_HZ,
    Array,
    ease,
    eased,
    hermite,
    not_above,
    not_below,
    smooth_noise,
)
from .others import other_arms, other_legs, other_trunk
from .swimmer import KICKS, Length, Swimmer

FOOT_GAP = 0.09
PUSH_BEND = 0.50
FEET_STRETCH_S = 0.10
WALL_DEPTH = -0.40
STREAMLINE = {"reach": 0.0, "spread": -0.05, "turn": 0.0, "elbow": 0.06, "forearm": 0.0}


@dataclass(frozen=True)
class Crossing:
    """One length as moved, in local samples: what truth needs to know where to look."""

    motion: Motion
    end_pose: Pose
    spec: Length
    direction: float
    take_off: int
    strokes_from: int
    arrives: int


@dataclass
class _Draft:
    """A length while it is being made; times in s from the start of the push."""

    t: Array
    swimmer: Swimmer
    spec: Length
    pool: float
    take_off: float = 0.0
    breakout: float = 0.0
    rate: float = 1.0
    breaths: tuple[tuple[float, float], ...] = ()
    phase: Array = field(default_factory=lambda: np.zeros(0))
    travelled: Array = field(default_factory=lambda: np.zeros(0))
    speed: Array = field(default_factory=lambda: np.zeros(0))

    @property
    def build(self) -> Build:
        return self.swimmer.build

    @property
    def since_breakout(self) -> Array:
        """Return the mean phase counted from the breakout, in rad."""
        return self.phase - float(np.interp(self.breakout, self.t, self.phase))

    def when(self, distance: float) -> float:
        """Return when the hips have come a distance from the start wall."""
        return float(np.interp(distance, self.travelled, self.t))


def cross(
    swimmer: Swimmer,
    cycles: dict[str, ArmCycle],
    spec: Length,
    pool: float,
    start: Pose,
    rng: np.random.Generator,
) -> Crossing:
    """Return one length, from the first instant of the push to a resting pose at the far wall."""
    pace = spec.pace * swimmer.cycles_min / 60.0 * swimmer.stroke_length * _slower(spec)
    seconds = pool / pace * 1.45 + 14.0
    draft = _Draft(np.arange(int(seconds * RATE_HZ)) / RATE_HZ, swimmer, spec, pool)
    hips, reach = _push_and_glide(draft, pace)
    draft.phase, draft.breaths = _phases(draft, cycles, rng)
    draft.speed = _speed(draft, cycles, pace)
    draft.travelled = FOOT_GAP + np.where(
        draft.t <= draft.take_off,
        hips,
        hips[_sample(draft.take_off)] + _area(draft.speed, _sample(draft.take_off)),
    )
    m = still_pose(draft.t.size)
    _trunk(m, draft, cycles, start, rng)
    _legs(m, draft, cycles, rng)
    ending = _flip if spec.ending == "flip" else _touch
    phases = _arm_phases(draft, cycles, rng)
    stop, arrives, target = ending(m, draft, cycles, phases)
    _contact(m, draft, reach)
    direction = float(np.sign(np.cos(start["heading"])))
    m["x"] = m["x"] if direction > 0.0 else pool - m["x"]
    m["heading"] = m["heading"] + start["heading"]
    motion = {name: value[: _sample(stop)] for name, value in m.items()}
    end_pose = {name: float(value[-1]) for name, value in motion.items()} | target
    return Crossing(
        motion=motion,
        end_pose=end_pose,
        spec=spec,
        direction=direction,
        take_off=_sample(draft.take_off),
        strokes_from=_sample(draft.breakout - 0.35),
        arrives=_sample(arrives),
    )


def _sample(time: float) -> int:
    return round(time * RATE_HZ)


def _slower(spec: Length) -> float:
    return {"kick": 0.6, "breaststroke": 0.75, "backstroke": 0.9}.get(spec.stroke, 1.0) * (
        0.72 if spec.one_arm else 1.0
    )


def _area(value: Array, start: int) -> Array:
    """Return the running integral (trapezia) from one sample on."""
    total = np.concatenate([[0.0], np.cumsum(0.5 * (value[1:] + value[:-1]))]) / RATE_HZ
    return np.asarray(total - total[start])


def _push_and_glide(draft: _Draft, pace: float) -> tuple[Array, Array]:
    """Settle take-off and breakout; return how far the hips are from rest and from the ankles (m).

    The toes push last: at the end the feet stretch, and the ankles are off the wall by their
    length and have the body's speed when the toes leave it.
    """
    s, t = draft.swimmer, draft.t
    fast = max(s.take_off, 1.3 * pace)
    first = PUSH_BEND * s.build.leg
    at_leaving = 0.985 * s.build.leg + 0.5 * FEET_STRETCH_S * fast
    draft.take_off = _sample((at_leaving - first) / (0.4 * fast)) / RATE_HZ
    u = np.clip(t / draft.take_off, 0.0, 1.0)
    stretched = np.clip((t - draft.take_off) / FEET_STRETCH_S + 1.0, 0.0, 1.0)
    lifted = fast * FEET_STRETCH_S * (2.5 * stretched**4 - 3.0 * stretched**5 + stretched**6)
    hips = first + fast * draft.take_off * (u**4 - 0.6 * u**5)
    draft.speed = fast / (1.0 + s.glide_drag * fast * _drag_time(t, draft.take_off))
    slowed = np.flatnonzero(draft.speed <= s.breakout_gain * pace)[0] / RATE_HZ
    draft.breakout = float(np.clip(slowed, draft.take_off + 1.2, draft.take_off + s.longest_glide))
    return hips, hips - lifted


def _drag_time(t: Array, take_off: float) -> Array:
    """Return the time since take-off, running in smoothly over about 0.1 s."""
    since = np.maximum(t - take_off, 0.0)
    return since - 0.05 * (1.0 - np.exp(-since / 0.05))


def _phases(
    draft: _Draft, cycles: dict[str, ArmCycle], rng: np.random.Generator
) -> tuple[Array, tuple[tuple[float, float], ...]]:
    """Return the mean phase of both arms (rad) and the breaths as (phase of the peak, side)."""
    s, spec, t = draft.swimmer, draft.spec, draft.t
    first = cycles[spec.first_arm]
    at_breakout = first.glide
    if spec.first_arm == "right":
        at_breakout -= np.pi + s.offset / 2.0
    else:
        at_breakout += s.offset / 2.0
    wander = smooth_noise(rng, t.size, 60.0 / s.cycles_min)
    rate = 2.0 * np.pi * s.cycles_min / 60.0 * spec.pace * (0.85 if spec.one_arm else 1.0)
    if spec.stroke in {"breaststroke", "butterfly"}:
        rate *= 0.85
    draft.rate = rate
    warped = _area(rate * (1.0 + s.variation * wander), _sample(draft.breakout))
    breaths = _breath_plan(draft, roll_phase(s), at_breakout, rng)
    grid = np.arange(-60.0, float(warped[-1]) + 40.0, 0.02)
    slow = np.zeros(grid.size)
    lengthen = min(0.4 * s.breath_hold * rate, 0.6)
    for peak, _ in breaths:
        slow += lengthen / (0.7 * np.sqrt(2.0 * np.pi)) * np.exp(-0.5 * ((grid - peak) / 0.7) ** 2)
    travel = CubicSpline(grid, 1.0 + slow).antiderivative()
    own = travel(grid) - float(travel(at_breakout))
    return CubicSpline(own, grid)(warped), breaths


def _breath_plan(
    draft: _Draft, lowest: float, at_breakout: float, rng: np.random.Generator
) -> tuple[tuple[float, float], ...]:
    """Return the breaths of a length: phase of the roll's peak, +1 left or -1 right."""
    spec, side = draft.spec, SIGN[draft.swimmer.breath_side]
    if spec.breathing == "none" or spec.stroke != "front_crawl":
        return ()
    first = int(np.ceil((at_breakout - lowest) / np.pi)) + int(rng.integers(2, 4))
    halves = np.arange(first, first + 200)
    sides = np.where(halves % 2 == 1, 1.0, -1.0)
    if spec.breathing == "every_3":
        taken = halves % 3 == first % 3
    elif spec.breathing == "every_4":
        taken = (sides == side) & ((halves // 2) % 2 == (first // 2) % 2)
    else:
        taken = sides == side
    if spec.breathing == "irregular":
        taken &= rng.random(halves.size) < 0.6
    return tuple((lowest + np.pi * j, s) for j, s in zip(halves[taken], sides[taken], strict=True))


def _arm_phases(
    draft: _Draft, cycles: dict[str, ArmCycle], rng: np.random.Generator
) -> dict[str, Array]:
    """Return each arm's phase, held at the reach until its turn comes after the glide."""
    s = draft.swimmer
    period = 60.0 / s.cycles_min
    behind = -np.pi if draft.spec.first_arm == "left" else np.pi
    shifts = {"left": -0.5 * s.offset, "right": behind + 0.5 * s.offset}
    phases = {}
    for side, shift in shifts.items():
        own = 0.5 * s.variation * smooth_noise(rng, draft.t.size, 1.5 * period)
        phases[side] = not_below(draft.phase + shift + own, cycles[side].glide)
    return phases


def _speed(draft: _Draft, cycles: dict[str, ArmCycle], pace: float) -> Array:
    """Return the body's speed after take-off in m/s: glide, then swimming with its surges."""
    s = draft.swimmer
    rate = np.gradient(draft.phase) * RATE_HZ
    swimming = pace * gaussian_filter1d(rate, 500.0, mode="nearest", truncate=3.0) / draft.rate
    if draft.spec.stroke != "kick":
        swimming *= surges(s, draft.phase)
    mix = ease(draft.t, draft.breakout - 0.3, draft.breakout + 0.9)
    return np.asarray((1.0 - mix) * draft.speed + mix * swimming)


def _gait(draft: _Draft) -> Array:
    """Return how far the stroke has taken over from the streamline (0..1)."""
    return ease(draft.t, draft.breakout - 0.8, draft.breakout - 0.05)


def _trunk(
    m: Motion,
    draft: _Draft,
    cycles: dict[str, ArmCycle],
    start: Pose,
    rng: np.random.Generator,
) -> None:
    """Lay out depth, pitch, roll and head up to the end of free swimming."""
    s, t, gait = draft.swimmer, draft.t, _gait(draft)
    deep = eased(t, WALL_DEPTH, [(draft.take_off, draft.take_off + 0.6, -s.glide_depth)])
    level = float_height(s, s.build)
    rise = ease(t, draft.take_off + 0.35, draft.breakout + 1.5)
    m["z"] = deep + (level - deep) * rise
    slope = gaussian_filter1d(0.5 * np.gradient(m["z"], t) / np.maximum(draft.speed, 0.8), 60.0)
    m["z"] = m["z"] + gait * s.bob * np.cos(2.0 * draft.phase + 0.5)
    m["somersault"] = -slope * ease(t, draft.take_off, draft.take_off + 0.4)
    m["pitch"] = s.pitch * gait
    m["twist"] = eased(t, start["twist"], [(draft.take_off + 0.05, draft.breakout - 0.15, 0.0)])
    if draft.spec.stroke != "front_crawl":
        other_trunk(m, draft.spec.stroke, draft.since_breakout, t, gait, s)
        return
    lowest = roll_phase(s)
    size = 1.0 + s.variation * smooth_noise(rng, t.size, 60.0 / s.cycles_min)
    shoulders = gait * size * _roll(draft, lowest, 0.0)
    m["shoulder_roll"] = shoulders
    m["hip_roll"] = gait * size * s.hip_share * _roll(draft, lowest, s.roll_lag)
    m["leg_roll"] = gait * size * s.hip_share * s.leg_share * _roll(draft, lowest, 2.2 * s.roll_lag)
    m["head_pitch"] = np.full(t.size, -0.15) * gait
    m["head_roll"] = s.head_follow * shoulders
    for peak, side in draft.breaths:
        turned = np.exp(-(((draft.phase - peak + 0.1) / (0.85 + 0.5 * s.breath_hold)) ** 2))
        m["head_roll"] += (side * s.breath_turn - s.head_follow * shoulders) * turned * gait


def _roll(draft: _Draft, lowest: float, lag_s: float) -> Array:
    """Return the roll in rad: a wave that lingers and goes further on the breathing side."""
    s = draft.swimmer
    lag = lag_s * 2.0 * np.pi * s.cycles_min / 60.0
    phase = draft.phase - lag
    extra = np.zeros(phase.size)
    warped = phase.copy()
    linger = min(0.9 * s.breath_hold * s.cycles_min / 60.0 * 2.0, 0.62)
    for peak, side in draft.breaths:
        off = phase - peak
        warped -= linger * off * np.exp(-((off / 1.15) ** 2))
        extra += side * s.breath_extra * np.exp(-((off / 1.0) ** 2))
    return plain_roll(s, warped - lowest) + extra


def _legs(m: Motion, draft: _Draft, cycles: dict[str, ArmCycle], rng: np.random.Generator) -> None:
    """Lay out hips and knees: dolphin kicks in the glide, then the kick of the length."""
    s, t, spec = draft.swimmer, draft.t, draft.spec
    for k in range(s.dolphin if draft.breakout - draft.take_off > 1.9 else 0):
        at = draft.take_off + 0.55 + 0.42 * k
        if at < draft.breakout - 0.65:
            for side in SIDES:
                _one_kick(m, side, t - at, 0.075, s, 0.8)
    if spec.stroke not in {"front_crawl", "kick"}:
        other_legs(m, spec.stroke, draft.since_breakout, _gait(draft))
        return
    entry = 0.5 * s.offset + s.kick_late
    period = 60.0 / s.cycles_min
    begins, ends = draft.breakout - 0.4, t[-1] - 1.0
    pattern = KICKS["six" if spec.kick == "irregular" or spec.stroke == "kick" else spec.kick]
    home = draft.when(draft.pool)
    for side in SIDES:
        width = min(period / max(len(pattern[side]), 1) / 5.0, 0.13)
        softer = min(1.0, (width / 0.085) ** 2)
        for share, size in pattern[side]:
            turns = np.arange(-4, int(draft.phase[-1] / (2.0 * np.pi)) + 1)
            jitter = rng.normal(0.0, 0.03 if spec.kick == "irregular" else 0.01, turns.size)
            moments = np.interp(entry + 2.0 * np.pi * (turns + share + jitter), draft.phase, t)
            for moment in moments[(moments > begins) & (moments < ends)]:
                strength = size * s.kick_uneven[side] * rng.normal(1.0, 0.07) * softer
                strength *= 1.0 - spec.fade * min(moment / home, 1.0)
                if spec.kick != "irregular" or rng.random() > 0.35:
                    _one_kick(m, side, t - moment, width, s, strength)
    if spec.kick == "crossover":
        for side in SIDES:
            m[f"{side}_open"] -= (
                0.12 * _gait(draft) * np.cos(2.0 * draft.phase - entry + 0.4 * SIGN[side])
            )


def _one_kick(
    m: Motion, side: str, off: Array, width: float, swimmer: Swimmer, strength: float
) -> None:
    """Add one kick to one leg; `off` is the time in s from the middle of the downbeat."""
    near = np.abs(off) < 7.0 * width
    u = off[near] / width
    bell = np.exp(-0.5 * u**2)
    m[f"{side}_hip"][near] += 1.3 * swimmer.kick_lift * strength * u * bell
    m[f"{side}_knee"][near] += swimmer.kick_bend * strength * np.exp(-0.5 * (u + 0.95) ** 2)


def _contact(m: Motion, draft: _Draft, reach: Array) -> None:
    """Bend the legs for the push and let them go straight after the feet have left the wall."""
    t = draft.t
    hip, knee = leg_bend(reach, draft.build)
    hold = 1.0 - ease(t, draft.take_off + 0.15, draft.take_off + 0.5)
    for side in SIDES:
        m[f"{side}_hip"] = (1.0 - hold) * m[f"{side}_hip"] + hold * hip
        m[f"{side}_knee"] = (1.0 - hold) * m[f"{side}_knee"] + hold * knee


def _last_turn(t: Array, phase: Array, target: float, before: float) -> tuple[float, float]:
    """Return when and at what phase an arm last passes a point of its cycle before a time."""
    now = float(np.interp(before, t, phase))
    held = target + 2.0 * np.pi * np.floor((now - target) / (2.0 * np.pi))
    return float(np.interp(held, phase, t)), float(held)


def _strokes(
    m: Motion, draft: _Draft, cycles: dict[str, ArmCycle], phases: dict[str, Array]
) -> None:
    """Put the stroke of both arms into the motion, coming out of the streamline."""
    gait, spec = _gait(draft), draft.spec
    for side in SIDES:
        if spec.stroke == "front_crawl":
            joints = cycles[side].joints(phases[side])
        else:
            joints = other_arms(spec.stroke, side, draft.since_breakout, draft.t, draft.breakout)
        if spec.one_arm and side != spec.one_arm:
            joints = {joint: np.full(gait.size, value) for joint, value in STREAMLINE.items()}
            joints["reach"] = joints["reach"] + 0.32
        for joint in ARM:
            joints[joint] = STREAMLINE[joint] + gait * (joints[joint] - STREAMLINE[joint])
        set_arm(m, side, joints)


def _go_on(m: Motion, t: Array, begin: float, end: float, target: Pose) -> None:
    """Ease the named joints to target values over a time, whatever they do meanwhile."""
    step = ease(t, begin, end)
    for name, value in target.items():
        m[name] = m[name] + step * (value - m[name])


def _flip(
    m: Motion, draft: _Draft, cycles: dict[str, ArmCycle], phases: dict[str, Array]
) -> tuple[float, float, Pose]:
    """End with a somersault: feet on the wall, ready to push. Return stop, touch and pose."""
    s, t = draft.swimmer, draft.t
    latest = draft.when(draft.pool - 1.3)
    hips = {side: cycles[side].phase_at(np.radians(168.0)) for side in SIDES}
    turns = dict.fromkeys(SIDES, 0.0)
    last = 0.0
    for side in SIDES:
        at, held = _last_turn(t, phases[side], hips[side], latest)
        phases[side] = not_above(phases[side], held)
        turns[side] = 2.0 * np.pi * np.floor(held / (2.0 * np.pi))
        last = max(last, at)
    _strokes(m, draft, cycles, phases)
    roll_at = max(last, draft.when(draft.pool - 1.45))
    plant = roll_at + 0.85 + 0.12 * np.sin(10.0 * s.quarter)
    stop = plant + 0.16
    bent = (PUSH_BEND + 0.07) * s.build.leg
    quarter = -s.twist_sign * s.quarter
    tip = roll_at - 0.08
    for name in ("shoulder_roll", "hip_roll", "leg_roll", "pitch", "head_roll"):
        _go_on(m, t, tip - 0.3, roll_at + 0.2, {name: 0.0})
    m["somersault"] = m["somersault"] + np.pi * ease(t, tip, plant)
    m["twist"] = m["twist"] + quarter * ease(t, roll_at + 0.3, plant)
    m["head_pitch"] = eased(t, 0.0, [(tip - 0.1, roll_at + 0.2, 0.6), (plant - 0.3, stop, 0.0)]) + (
        m["head_pitch"] * (1.0 - ease(t, tip - 0.1, roll_at + 0.2))
    )
    landing = hermite(t, (plant - 0.05, plant), (bent + 0.015, 0.0, 0.0), (bent, -0.6, 0.0))
    inward = hermite(t, (plant, stop), (bent, -0.6, 0.0), (PUSH_BEND * s.build.leg, 0.0, 0.0))
    inward = np.where(t < plant, landing, inward)
    hip, knee = leg_bend(inward, s.build)
    for side in SIDES:
        for joint, tuck, final in (("hip", 1.9, hip), ("knee", 2.1, knee), ("open", 0.0, None)):
            name = f"{side}_{joint}"
            own = m[name] * (1.0 - ease(t, tip - 0.25, tip + 0.05))
            own = own + tuck * ease(t, tip + 0.05, tip + 0.5)
            settle = ease(t, plant - 0.38, plant)
            m[name] = own if final is None else own + settle * (final - own)
    for side in SIDES:
        over = turns[side]
        _go_on(m, t, tip + 0.1, plant - 0.1, {f"{side}_reach": over + 1.2, f"{side}_elbow": 1.5})
        settled = {f"{side}_{joint}": value for joint, value in STREAMLINE.items()}
        settled |= {f"{side}_reach": over, f"{side}_turn": -over}
        _go_on(m, t, plant - 0.35, stop, settled)
    wall = draft.pool - FOOT_GAP
    moved = _come_in(draft, tip, plant, (wall - bent, 0.6, 0.0))
    m["x"] = np.where(t < plant, moved, wall - inward)
    m["z"] = m["z"] + (WALL_DEPTH - m["z"]) * ease(t, tip, plant)
    pose = {f"{side}_{joint}": 0.0 for side in SIDES for joint in ("reach", "turn")}
    return stop, plant, pose | {"somersault": np.pi, "twist": quarter}


def _come_in(draft: _Draft, begin: float, end: float, last: tuple[float, float, float]) -> Array:
    """Return the hips' distance from the start wall: free swimming, then a path to a given end."""
    k = _sample(begin)
    gain = float(np.gradient(draft.speed[k - 2 : k + 3])[2]) * RATE_HZ
    first = (float(draft.travelled[k]), float(draft.speed[k]), gain)
    path = hermite(draft.t, (k / RATE_HZ, end), first, last)
    return np.where(draft.t < k / RATE_HZ, draft.travelled, path)


def _touch(
    m: Motion, draft: _Draft, cycles: dict[str, ArmCycle], phases: dict[str, Array]
) -> tuple[float, float, Pose]:
    """End with a hand on the wall, then come half upright. Return stop, touch and pose."""
    t = draft.t
    crawl = draft.spec.stroke == "front_crawl"
    ahead = _reach_ahead(draft, cycles)
    at_wall = draft.when(draft.pool - ahead)
    turns = dict.fromkeys(SIDES, 0.0)
    lead = draft.spec.one_arm or ""
    if crawl:
        lead = _hold_for_touch(draft, cycles, phases, turns, at_wall)
    _strokes(m, draft, cycles, phases)
    if not crawl:
        for side in SIDES:
            name = f"{side}_reach"
            turns[side] = 2.0 * np.pi * round(float(np.interp(at_wall, t, m[name])) / (2.0 * np.pi))
            settled = {f"{side}_{joint}": value for joint, value in STREAMLINE.items()}
            settled[name] = turns[side] + 0.1
            _go_on(m, t, at_wall - 0.7, at_wall - 0.02, settled)
    stop = at_wall + (0.75 if draft.spec.ending == "open" else 1.3)
    for side in SIDES:
        near = side == lead or not crawl
        pose = {"reach": 1.0 if near else 2.5, "elbow": 1.5, "spread": 0.2, "turn": 0.0}
        pose["reach"] += turns[side]
        pose["turn"] -= turns[side] if crawl else 0.0
        named = {f"{side}_{joint}": value for joint, value in pose.items()}
        _go_on(m, t, at_wall + 0.03, stop, named | {f"{side}_forearm": 0.0})
    for name in ("shoulder_roll", "hip_roll", "leg_roll", "head_roll", "head_pitch", "somersault"):
        _go_on(m, t, at_wall - 0.1, at_wall + 0.6, {name: 0.0})
    upright = -0.9 if draft.spec.ending == "open" else -np.pi / 2.0
    _go_on(m, t, at_wall, stop, {"pitch": upright})
    bend = (1.5, 1.7) if draft.spec.ending == "open" else (0.25, 0.5)
    for side in SIDES:
        named = {f"{side}_hip": bend[0], f"{side}_open": 0.0, f"{side}_knee": bend[1]}
        _go_on(m, t, at_wall - 0.15, stop, named)
    m["x"] = _come_in(draft, at_wall, stop, (draft.pool - 0.62, 0.0, 0.0))
    m["z"] = m["z"] + (-0.45 - m["z"]) * ease(t, at_wall + 0.1, stop)
    unwound = {f"{side}_reach": float(m[f"{side}_reach"][-1]) - turns[side] for side in SIDES}
    unwound |= {f"{side}_turn": 0.0 for side in SIDES}
    return stop, at_wall, unwound


def _reach_ahead(draft: _Draft, cycles: dict[str, ArmCycle]) -> float:
    """Return how far the fingertips are ahead of the hips in the reach, in m."""
    pose = still_pose(1)
    pose["pitch"] += draft.swimmer.pitch
    for side in SIDES:
        set_arm(pose, side, cycles[side].joints(np.array([cycles[side].glide])))
    body = Skeleton(pose, draft.build)
    return min(float(body.fingertip(side)[0, 0]) for side in SIDES) - 0.02


def _hold_for_touch(
    draft: _Draft,
    cycles: dict[str, ArmCycle],
    phases: dict[str, Array],
    turns: dict[str, float],
    at_wall: float,
) -> str:
    """Hold the arm that reaches last before the wall out in front; return its side."""
    only = [draft.spec.one_arm] if draft.spec.one_arm else list(SIDES)
    times = {side: _last_turn(draft.t, phases[side], cycles[side].glide, at_wall) for side in only}
    lead = max(times, key=lambda side: times[side][0])
    for side in only:
        held = times[side][1]
        if side != lead:
            hip = cycles[side].phase_at(np.radians(168.0))
            held = _last_turn(draft.t, phases[side], hip, times[lead][0])[1] + 2.0 * np.pi
        phases[side] = not_above(phases[side], held)
        turns[side] = 2.0 * np.pi * np.floor(held / (2.0 * np.pi))
    return lead
