"""Who swims, what is worn and what is swum: the settings of a rehearsal."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from sensorswim.model import Placement, Side

CORE = (
    Placement.LEFT_WRIST,
    Placement.RIGHT_WRIST,
    Placement.LEFT_ANKLE,
    Placement.RIGHT_ANKLE,
)
"""The usual kit: both wrists and both ankles."""

FULL = tuple(Placement)
"""All nine places."""


@dataclass(frozen=True, kw_only=True)
class Swimmer:
    """How an invented swimmer moves; shares are of the arm cycle unless said otherwise.

    Parameters
    ----------
    height_m : float
        Gives the limb lengths by the segment ratios of Drillis & Contini (1966).
    speed_m_s : float
        Aimed clean speed; bent by a few per cent so that whole strokes fit the pool.
    coordination_left_pct, coordination_right_pct : float
        Aimed lag between the arms: pull plus push last half a cycle plus this. The truth is
        measured on the simulated geometry, not copied from here.
    arm_offset_pct : float
        How much later than half a cycle the right hand enters.
    elbow_left_deg, elbow_right_deg : float
        Elbow angle at mid-pull, 180 = straight.
    pull_lateral_deg : float
        Outward angle of the pulling hand at mid-pull; negative crosses under the body.
    recovery_elbow_deg : float
        About 90 for a high elbow, 160 for a nearly straight recovery.
    roll_onto_left_deg, roll_onto_right_deg : float
        Shoulder roll per side; the hips follow with `hip_roll_share` and `hip_lag_s`.
    breath_every : int
        Arm strokes between breaths: 2, 3, 4 ...; 0 = never; -1 = irregular.
    breath_hold_s : float
        Extra time on the side at a breath.
    hold_delays_cycle : float
        Share of that time that makes the cycle longer; the rest squeezes the roll back.
    kick : str
        ``6``, ``4`` (2+2), ``3+1``, ``2``, ``crossover``, ``irregular``, ``sparse`` or ``none``.
    kick_knee_deg, kick_hip_deg : float
        Knee bend and thigh swing of a main kick.
    kick_unevenness : float
        0 = all kicks alike, 1 = the minor ones vanish.
    breath_kick_extra : float
        How much larger kicks at a breath are: a scissor of the legs.
    variation : float
        Relative spread between cycles, timing and size.
    entry_splash_m_s2 : float
        Typical peak of the pulse at hand entry.
    dolphin_kicks : int
        After each push-off; they are no kicks of the truth tables.
    """

    name: str = "invented swimmer"
    height_m: float = 1.75
    speed_m_s: float = 1.08
    stroke_rate_cycles_min: float = 31.0
    coordination_left_pct: float = -7.0
    coordination_right_pct: float = -5.0
    arm_offset_pct: float = 0.0
    recovery_share: float = 0.26
    elbow_left_deg: float = 118.0
    elbow_right_deg: float = 124.0
    pull_lateral_deg: float = 4.0
    recovery_elbow_deg: float = 100.0
    reach_tilt_deg: float = 7.0
    pronation_deg: float = 0.0
    roll_onto_left_deg: float = 46.0
    roll_onto_right_deg: float = 48.0
    roll_timing: float = 0.0
    hip_roll_share: float = 0.65
    hip_lag_s: float = 0.04
    shank_roll_share: float = 0.7
    shank_lag_s: float = 0.05
    breath_every: int = 3
    breath_side: Side = Side.RIGHT
    breath_hold_s: float = 0.1
    breath_roll_extra_deg: float = 8.0
    hold_delays_cycle: float = 0.6
    head_turn_deg: float = 75.0
    kick: str = "6"
    kick_knee_deg: float = 38.0
    kick_hip_deg: float = 16.0
    kick_unevenness: float = 0.3
    kick_shift: float = 0.06
    kick_jitter: float = 0.02
    breath_kick_extra: float = 0.0
    leg_split_deg: float = 4.0
    surge_share: float = 0.14
    body_pitch_deg: float = 4.0
    heave_m: float = 0.015
    variation: float = 0.03
    entry_splash_m_s2: float = 8.0
    push_speed_m_s: float = 2.4
    glide_s: float = 1.4
    dolphin_kicks: int = 0
    first_arm: Side = Side.LEFT


@dataclass(frozen=True, kw_only=True)
class Kit:
    """What is worn, how it is strapped on and how the sensors err.

    Parameters
    ----------
    placements : tuple of Placement
        The first one gives the session's clock.
    rate_hz : float
    rates_hz : dict
        Rates that differ from `rate_hz`, by placement.
    strap_deg : float
        Largest misalignment; each sensor gets a random rotation up to it.
    wrong_way_up : tuple of Placement
        Sensors whose x axis points the wrong way (turned half about their z).
    swapped : tuple of Limb names
        Pairs worn on the wrong sides (``wrist``, ``ankle``, ``upper_arm``).
    clock_offset_s, drift_ppm : float
        Largest offset and drift of the clocks.
    gyro_noise_deg_s, accel_noise_m_s2 : float
        White noise per square root of hertz.
    wobble : float
        1 = usual soft tissue, 0 = rigid.
    turbulence_m_s2 : float
        Band-limited disturbance of a limb under water.
    gaps : int
        How many gaps of 0.2 to 2 s each sensor has.
    damaged_rows : float
        Share of duplicate or unreadable rows; only in written files.
    magnetometer, pressure : bool
        Log these as well (pressure on the wrists).
    """

    placements: tuple[Placement, ...] = CORE
    rate_hz: float = 100.0
    rates_hz: dict[Placement, float] = field(default_factory=dict)
    strap_deg: float = 12.0
    wrong_way_up: tuple[Placement, ...] = ()
    swapped: tuple[str, ...] = ()
    clock_offset_s: float = 200.0
    drift_ppm: float = 30.0
    jitter_s: float = 0.0002
    gyro_noise_deg_s: float = 0.01
    accel_noise_m_s2: float = 0.002
    gyro_bias_deg_s: float = 0.5
    accel_bias_g: float = 0.02
    scale_error: float = 0.005
    accel_range_g: float = 16.0
    gyro_range_deg_s: float = 2000.0
    wobble: float = 1.0
    turbulence_m_s2: float = 0.6
    gaps: int = 0
    damaged_rows: float = 0.0
    magnetometer: bool = False
    pressure: bool = False

    @staticmethod
    def ideal(placements: tuple[Placement, ...] = FULL, **changes: Any) -> Kit:
        """Return a kit without any error, for tests of physics and of detectors."""
        clean: dict[str, Any] = dict.fromkeys(
            (
                "strap_deg", "clock_offset_s", "drift_ppm", "jitter_s", "gyro_noise_deg_s",
                "accel_noise_m_s2", "gyro_bias_deg_s", "accel_bias_g", "scale_error",
                "wobble", "turbulence_m_s2",
            ),
            0.0,
        )  # fmt: skip
        return Kit(placements=placements, **(clean | changes))


@dataclass(frozen=True, kw_only=True)
class Stand:
    """Standing still with the arms by the sides."""

    duration_s: float = 10.0


@dataclass(frozen=True, kw_only=True)
class Knocks:
    """Three sharp knocks of all sensors, half a second apart."""

    count: int = 3
    spacing_s: float = 0.5
    strength_m_s2: float = 45.0


@dataclass(frozen=True, kw_only=True)
class Rest:
    """Standing at the wall with idle arm movement."""

    duration_s: float = 15.0
    walking: bool = False


@dataclass(frozen=True, kw_only=True)
class Length:
    """One length of the pool.

    Parameters
    ----------
    activity : str
        ``front_crawl``, ``backstroke``, ``breaststroke``, ``butterfly``, ``kick``,
        ``single_arm`` or ``catch_up``.
    turn : str
        ``flip``, ``open`` or ``stop``.
    changes : dict
        Settings of the swimmer that differ on this length.
    set_as : str
        What its block calls it: swim, drill, kick or pull.
    """

    activity: str = "front_crawl"
    turn: str = "open"
    changes: dict[str, Any] = field(default_factory=dict)
    set_as: str = "swim"


@dataclass(frozen=True, kw_only=True)
class BlockStart:
    """The lengths that follow, up to the next `BlockStart`, form a block of session.toml.

    Parameters
    ----------
    label : str
    keys : dict
        Further keys of the block: ``drill``, ``aids``, ``breathing``, ``felt_*``.
    """

    label: str
    keys: dict[str, Any] = field(default_factory=dict)


Segment = Stand | Knocks | Rest | Length | BlockStart


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What is done, in order."""

    segments: tuple[Segment, ...]
    pool_length_m: float = 25.0
