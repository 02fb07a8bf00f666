"""How ankle, trunk and head sensors sit on the body, worked out from standing and swimming.

Standing upright gives a limb's long axis; the kicks' rotation gives the shank's lateral axis, to
half a degree; the trunk's zero of roll comes from legs that kick and roll along with it, or from
the glides after the push-off, where the body lies flat, or else from the middle of the roll peaks.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd
from scipy.ndimage import uniform_filter1d
from scipy.signal import butter, find_peaks, sosfiltfilt

from sensorswim.model import Limb, Placement, Quality, Recording, Severity, Side, Track
from sensorswim.model.streams import BoolArray, FloatArray
from sensorswim.model.tables import rows_of
from sensorswim.signal.regular import during
from sensorswim.signal.rotations import rotate, rotate_back, up_in_sensor
from sensorswim.signal.standing import Upright, stand, who_stands

_STILL_S: Final = 1.5
_MIN_SAMPLES: Final = 200
_TOO_STEEP: Final = 0.15
_KICK_HZ: Final = 1.2
_GLIDE_SPREAD_DEG: Final = 4.0
_GLIDE_SHARE: Final = 0.3
_GLIDE_DOUBT_DEG: Final = 8.0
_FLAT_DOUBT_DEG: Final = 20.0
_FLAT_DEG: Final = 6.0
"""Who lies alike all along the later glide lies flat: on the side one turns over before one swims.
Then the middle of the peaks may be as far away as one side rolls more than the other (no source).
Legs that ride along may lie crossed in the glide."""
_GLIDE_S: Final = 0.4
_MOSTLY: Final = (5.0, 95.0)
_FROM_WALL_S: Final = 0.3
_UNTOLD_S: Final = 1.2
"""Where the glide begins after the push-off, and until when it lasts where no first entry is seen:
without wrists."""
_LEGS_DOUBT_DEG: Final = 4.0
_LEGS_LATE_S: Final = 0.2
_ALIKE: Final = 0.8
_RIDING_RAD_S: Final = 0.35
_OUTER_SHARE: Final = 0.5
_HEAD_DOUBT_DEG: Final = 12.0
_HEAD_OFTEN: Final = 0.2
"""Picked on the synthetic swimmer."""
_MOST_ASKEW_DEG, _ON_BACK_DEG = 34.0, 90.0
"""Straps are up to 25 degrees off about any axis (file contract), which rolls a casing by up to 34:
a head's zero of roll was within 23 degrees of its casing's in 93 synthetic sessions of eight
builds, and 50 and more from it in two in which the median lay between the face down and up. Beyond
the second one swims on the back for most of the time."""
_ROLLS_DEG: Final = range(-90, 91, 6)
_LEVEL_DEG: Final = 2.7
"""From how far off the zero of the kicks gives way to that of glides and peaks, and how well these
agree. It does in few synthetic swimmers; there the kicks' was up to 6 degrees off."""
_HEADING_S: Final = 4.0
_MOST_LEAN_DEG: Final = 20.0
"""A leg that lies further on its side all the time was turned by the body's roll rather than by its
kicks; the legs of synthetic swimmers of three builds lean by 14 degrees at most."""
BACK: Final = (Placement.LOWER_BACK, Placement.UPPER_BACK)
TRUNK: Final = (*BACK, Placement.HEAD)
ANKLES: Final = (Placement.LEFT_ANKLE, Placement.RIGHT_ANKLE)


def align(
    recording: Recording, lengths: pd.DataFrame, quality: Quality
) -> dict[Placement, FloatArray]:
    """Return limb_from_sensor of ankles, trunk and head; rows are limb axes in the sensor frame.

    An ankle's matrix speaks of the side that its placement names. A swapped pair shows by outer
    axes that both point to the sensor's inside (`swapped`); `exchanged` puts it right.

    Parameters
    ----------
    recording : Recording
        Oriented.
    lengths : DataFrame
        start_s, swim_start_s and end_s are used; prone swimming should prevail.
    quality : Quality
        Gets ``strap_wrong_way_up``, ``strap_not_checked`` and ``left_right_swapped``.

    Returns
    -------
    dict
        Placement -> (3, 3) rotation. Sensors without swimming keep the identity.
    """
    straps: dict[Placement, FloatArray] = {}
    kicking: list[Placement] = []
    standing = who_stands(recording, lengths)
    for place in (*ANKLES, *TRUNK):
        track = recording.tracks.get(place)
        if track is None or track.q_world_from_sensor is None:
            continue
        swimming = _during(recording.time_s, lengths, "swim_start_s") & track.valid
        if swimming.sum() < _MIN_SAMPLES:
            straps[place] = np.eye(3)
            continue
        shank = place.limb is Limb.ANKLE
        upright = _upright(recording, track, lengths, standing, -1.0 if shank else 1.0)
        x_up = -standing.down[place] or (-1.0 if shank else 1.0)
        if shank:
            straps[place], kicks = _shank(track, recording, lengths, swimming, upright, x_up)
            kicking += [place] if kicks else []
            if place is ANKLES[-1] and tuple(kicking) == ANKLES:
                straps |= _levelled(recording, lengths, straps)
            elif place is ANKLES[-1] and kicking:
                along = [roll_deg(recording.tracks[kicking[0]], straps[kicking[0]])]
                straps |= _beside(recording, lengths, standing, straps.keys() - kicking, along)
        else:
            back = [p for p in BACK if p in straps and place is Placement.HEAD]
            along = [roll_deg(recording.tracks[p], straps[p]) for p in back or kicking]
            straps[place] = _trunk(track, recording, lengths, swimming, upright, x_up, along)
        _report(place, straps[place], upright is not None, quality)
    if swapped(straps):
        quality.add(
            "left_right_swapped",
            Severity.NOTE,
            "The two ankle sensors were on the wrong sides; left and right were exchanged.",
        )
    return straps


def roll_deg(track: Track, strap: FloatArray) -> FloatArray:
    """Return the roll (N,) of one segment in degrees, NaN in gaps and where it is upright."""
    assert track.q_world_from_sensor is not None
    up = up_in_sensor(track.q_world_from_sensor) @ strap.T
    if track.placement.side is not None:
        up = track.placement.side.sign * up[:, [0, 2, 1]]
    out = np.degrees(np.arctan2(up[:, 1], up[:, 2]))
    out[~track.valid | (np.hypot(up[:, 1], up[:, 2]) < _TOO_STEEP)] = np.nan
    return np.asarray(out)


def swapped(limb_from_sensor: dict[Placement, FloatArray]) -> bool:
    """Return whether both ankles' outer axes point to the sensors' inside."""
    return all(p in limb_from_sensor and limb_from_sensor[p][2, 2] < 0 for p in ANKLES)


def exchanged(recording: Recording, limb: Limb) -> Recording:
    """Return the recording with the left and right tracks of a limb exchanged."""
    left, right = (Placement.of(limb, side) for side in Side)
    tracks = dict(recording.tracks)
    tracks[left] = replace(recording.tracks[right], placement=left)
    tracks[right] = replace(recording.tracks[left], placement=right)
    return replace(recording, tracks=tracks)


def _report(place: Placement, strap: FloatArray, checked: bool, quality: Quality) -> None:
    if strap[0, 0] < 0:
        quality.add(
            "strap_wrong_way_up",
            Severity.NOTE,
            f"The {place.label} sensor was strapped the wrong way up; this was mended.",
            placement=place,
        )
    if not checked:
        quality.add(
            "strap_not_checked",
            Severity.DEGRADED,
            f"The swimmer was never seen standing, so which way up the {place.label} sensor "
            "sits was taken from its casing.",
            placement=place,
        )


def _during(time_s: FloatArray, lengths: pd.DataFrame, start: str) -> BoolArray:
    begins = lengths[start].fillna(lengths["start_s"])
    return during(time_s, begins.to_numpy(dtype=float), lengths["end_s"].to_numpy(dtype=float))


def _upright(
    recording: Recording, track: Track, lengths: pd.DataFrame, standing: Upright, sign: float
) -> FloatArray | None:
    """Return the long axis from the stand outside the lengths, None without one."""
    assert track.q_world_from_sensor is not None
    still = standing.still(recording, track) & ~_during(recording.time_s, lengths, "start_s")
    stood = stand(still, standing.share, _STILL_S * recording.rate_hz)
    if stood is None:
        return None
    return _unit(sign * np.median(up_in_sensor(track.q_world_from_sensor)[stood], axis=0))


def _shank(
    track: Track,
    recording: Recording,
    lengths: pd.DataFrame,
    swimming: BoolArray,
    toes: FloatArray | None,
    x_up: float,
) -> tuple[FloatArray, bool]:
    """Return the shank's frame, lateral axis from the kicks, and whether the leg kicks at all."""
    assert track.q_world_from_sensor is not None and track.placement.side is not None
    sign = track.placement.side.sign
    nominal = np.array([1.0, 0.0, 0.0])
    lateral = _kick_axis(track, recording.rate_hz, swimming, nominal if toes is None else toes)
    if lateral is None:
        return _riding_shank(track, recording, lengths, swimming, toes, x_up), False
    mean_up = np.median(up_in_sensor(track.q_world_from_sensor)[swimming], axis=0)
    if toes is None:
        outer = lateral * (1.0 if lateral[2] >= 0 else -1.0)
        return _square(np.cross(sign * mean_up, outer), outer), True
    outer = lateral * (1.0 if lateral @ np.cross(toes, sign * mean_up) >= 0 else -1.0)
    frame = _square(toes, outer)
    lean_deg = float(np.nanmedian(roll_deg(track, frame)[swimming]))
    if abs(lean_deg) > _MOST_LEAN_DEG:
        return _riding_shank(track, recording, lengths, swimming, toes, x_up), False
    return frame, True


def _levelled(
    recording: Recording, lengths: pd.DataFrame, straps: dict[Placement, FloatArray]
) -> dict[Placement, FloatArray]:
    """Return the frames of both shanks, turned where glides and roll peaks show one other zero.

    Hips that rock with the kicks turn the kicks' axis, on either side the same way.
    """
    tracks = [recording.tracks[place] for place in ANKLES]
    swimming = _during(recording.time_s, lengths, "swim_start_s")
    rolls = [roll_deg(track, straps[track.placement]) for track in tracks]
    mean = np.mean(rolls, axis=0)
    swimming &= np.isfinite(mean)
    glide = _glide_deg(recording, tracks[0], mean, lengths)
    if glide is None or swimming.sum() < _MIN_SAMPLES:
        return {}
    middle = _middle_deg(np.nan_to_num(mean), swimming, recording.rate_hz)
    if abs(glide.roll_deg) < _LEVEL_DEG or abs(glide.roll_deg - middle) > _LEVEL_DEG:
        return {}
    turn = np.radians(glide.roll_deg)
    turned = {}
    for place in ANKLES:
        x, y, z = straps[place]
        turned[place] = np.stack(
            [x, np.cos(turn) * y + np.sin(turn) * z, np.cos(turn) * z - np.sin(turn) * y]
        )
    return turned


def _beside(
    recording: Recording,
    lengths: pd.DataFrame,
    standing: Upright,
    riding: Iterable[Placement],
    along_deg: Sequence[FloatArray],
) -> dict[Placement, FloatArray]:
    """Return the frame of a leg that rides beside one that kicks and knows its zero of roll."""
    turned = {}
    for place in riding:
        track = recording.tracks[place]
        swimming = _during(recording.time_s, lengths, "swim_start_s") & track.valid
        if swimming.sum() >= _MIN_SAMPLES:
            toes, x_up = _upright(recording, track, lengths, standing, -1.0), -standing.down[place]
            turned[place] = _riding_shank(
                track, recording, lengths, swimming, toes, x_up or -1.0, along_deg
            )
    return turned


def _riding_shank(
    track: Track,
    recording: Recording,
    lengths: pd.DataFrame,
    swimming: BoolArray,
    toes: FloatArray | None,
    x_up: float,
    along_deg: Sequence[FloatArray] = (),
) -> FloatArray:
    """Return the frame of a leg that doesn't kick: its zero of roll as on the trunk."""
    assert track.placement.side is not None
    up = None if toes is None else -toes
    crown = _trunk(track, recording, lengths, swimming, up, x_up, along_deg)
    sign = track.placement.side.sign
    return np.stack([-crown[0], sign * crown[2], sign * crown[1]])


def _kick_axis(
    track: Track, rate_hz: float, swimming: BoolArray, long_axis: FloatArray
) -> FloatArray | None:
    """Return the principal axis of the kicks' rotation, None where the leg rides.

    The roll about the swimmer's own long axis is taken off first: at a bent knee it turns the
    shank about two axes in time with the kicks. The leg rides below a root mean square of
    0.35 rad/s, or where the axis lies nearer to the shin or the toes than to the outer side.
    """
    q = track.q_world_from_sensor
    assert q is not None
    ahead = rotate(q, np.broadcast_to(long_axis, (len(q), 3)))
    ahead = uniform_filter1d(ahead, int(_HEADING_S * rate_hz), axis=0)
    ahead[:, 2] = 0.0
    ahead = rotate_back(q, ahead / (np.linalg.norm(ahead, axis=1, keepdims=True) + 1e-9))
    kick = track.gyro_rad_s - np.sum(track.gyro_rad_s * ahead, axis=1, keepdims=True) * ahead
    sos = butter(2, [_KICK_HZ, 8.0], "bandpass", fs=rate_hz, output="sos")
    fast = sosfiltfilt(sos, kick, axis=0)[swimming]
    size, axes = np.linalg.eigh(fast.T @ fast / len(fast))
    rides = size[-1] < _RIDING_RAD_S**2 or abs(axes[2, -1]) < _OUTER_SHARE
    return None if rides else np.asarray(axes[:, -1])


def _trunk(
    track: Track,
    recording: Recording,
    lengths: pd.DataFrame,
    swimming: BoolArray,
    crown: FloatArray | None,
    x_up: float,
    along_deg: Sequence[FloatArray] = (),
) -> FloatArray:
    """Return the frame of trunk or head: long axis from standing or roll, then the zero of roll.

    Without a stand (`crown`) the sign of `x_up` says whether the x axis points to the crown.
    Legs that kick know their zero of roll from the kicks, and roll along with the trunk
    (`along_deg`; of a head the back's, if that is worn); the glides after the push-off are taken
    where they agree, for they are level more often than not.
    """
    assert track.q_world_from_sensor is not None
    up = up_in_sensor(track.q_world_from_sensor)
    if crown is None:
        rolling = track.gyro_rad_s[swimming]
        axis = np.linalg.eigh(rolling.T @ rolling)[1][:, -1]
        crown = axis * (1.0 if axis[0] * x_up >= 0 else -1.0)
    strap = _square_z(crown, np.median(up[swimming], axis=0))
    roll = np.degrees(np.arctan2(up @ strap[1], up @ strap[2]))
    glide = _glide_deg(recording, track, roll, lengths)
    if track.placement is Placement.HEAD:
        known = [swimming & np.isfinite(along) for along in along_deg]
        rides = [(roll - a)[k] for a, k in zip(along_deg, known, strict=True)
                 if k.sum() >= _MIN_SAMPLES]  # fmt: skip
        casing = float(np.degrees(np.arctan2(strap[1, 2], strap[2, 2])))
        level = None if glide is None else glide.roll_deg
        zero = _head_zero_deg(level, roll[swimming], rides, casing)
    else:
        middle = _middle_deg(roll, swimming, recording.rate_hz)
        guide = _against_legs_deg(roll, swimming, along_deg, recording.rate_hz)
        if glide is not None and track.placement.limb is Limb.ANKLE:
            glide = replace(glide, flat=False)
        zero = _zero_deg(glide, middle, guide)
    turn = np.radians(zero)
    z = np.cos(turn) * strap[2] + np.sin(turn) * strap[1]
    return _square_z(crown, z)


def _head_zero_deg(
    glide: float | None,
    swimming_deg: FloatArray,
    riding_deg: Sequence[FloatArray] = (),
    casing_deg: float | None = None,
) -> float:
    """Return the head's zero of roll: of the glides where the head is often so when swimming.

    Who breathes every second half cycle and stays long has the face up nearly half of the time:
    then the median lies between, while the head is kept still near either end, or rides along with
    the trunk (`riding_deg`, its roll against that): that is then more often alike than its roll.
    No strap sits so far off that the face is down while the casing (`casing_deg`) lies on its side.
    """
    middle = float(np.median(swimming_deg))
    askew_deg = 0.0 if casing_deg is None else float(_apart_deg(middle, casing_deg))
    borne_out = glide is not None and _apart_deg(middle, glide) < _HEAD_DOUBT_DEG
    if casing_deg is not None and not borne_out and _MOST_ASKEW_DEG < askew_deg < _ON_BACK_DEG:
        if glide is not None and _apart_deg(glide, casing_deg) <= _MOST_ASKEW_DEG:
            return glide
        away = np.arange(-_MOST_ASKEW_DEG, _MOST_ASKEW_DEG + 1.0)
        shares = [_often_near(swimming_deg, casing_deg + at_deg) for at_deg in away]
        return casing_deg + float(np.mean(away[np.array(shares) == max(shares)]))
    if glide is None:
        return middle
    still = max(_often_near(swimming_deg, at_deg) for at_deg in _ROLLS_DEG)
    often = _often_near(swimming_deg, glide) > _HEAD_OFTEN
    rides = any(_often_near(deg, glide) > max(still, _HEAD_OFTEN) for deg in riding_deg)
    return glide if often or rides or abs(glide - middle) < _HEAD_DOUBT_DEG else middle


def _often_near(roll_deg: FloatArray, at_deg: float) -> float:
    return float(np.mean(_apart_deg(roll_deg, at_deg) < _HEAD_DOUBT_DEG))


def _apart_deg(one_deg: FloatArray | float, other_deg: float) -> FloatArray:
    """Return how far directions are from another, the shorter way round."""
    return np.asarray(np.abs((one_deg - other_deg + 180.0) % 360.0 - 180.0))


def _zero_deg(glide: _Glide | None, middle: float, legs: float | None) -> float:
    """Return the zero of roll: of glides where another agrees, or flat ones, else of the legs."""
    aim, doubt = (middle, _GLIDE_DOUBT_DEG) if legs is None else (legs, _LEGS_DOUBT_DEG)
    if glide is None:
        return aim
    if legs is None and glide.flat:
        doubt = _FLAT_DOUBT_DEG
    zero = glide.roll_deg
    return zero if abs(zero - aim) < doubt or abs(zero - middle) < _LEGS_DOUBT_DEG else aim


def _against_legs_deg(
    roll: FloatArray, swimming: BoolArray, legs_deg: Sequence[FloatArray], rate_hz: float
) -> float | None:
    """Return the trunk's roll where the legs' is zero, None where they don't roll alike.

    The legs follow the trunk by up to 0.2 s and roll less, by a constant share.
    """
    if not legs_deg:
        return None
    legs = np.mean(legs_deg, axis=0)
    known = swimming & np.isfinite(roll) & np.isfinite(legs) & (np.abs(roll) < 90.0)
    best, zero = _ALIKE, None
    for late in range(0, round(_LEGS_LATE_S * rate_hz) + 1, 2):
        both = known[: len(known) - late] & known[late:]
        if both.sum() < _MIN_SAMPLES:
            return None
        trunk, behind = roll[: len(roll) - late][both], legs[late:][both]
        alike = float(np.corrcoef(trunk, behind)[0, 1])
        if alike > best:
            best, zero = alike, float(trunk.mean() - trunk.std() / behind.std() * behind.mean())
    return zero


@dataclass(frozen=True, kw_only=True)
class _Glide:
    """The roll of the glides that agree, and whether most stay so."""

    roll_deg: float
    flat: bool


def _glide_deg(
    recording: Recording, track: Track, roll_deg: FloatArray, lengths: pd.DataFrame
) -> _Glide | None:
    """Return the median roll of the glides that agree, None where too few do.

    After a flip turn many glide on their side for a while, or flat on the back.
    """
    middles, ranges = [], []
    for glide in _glides(recording, lengths):
        calm = _calmest(recording, track, glide)
        if calm is not None and track.valid[calm].all():
            at_deg = float(np.median(np.unwrap(roll_deg[calm], period=360.0)))
            middles.append((at_deg + 90.0) % 180.0 - 90.0)
            later = slice((glide.start + glide.stop) // 2, glide.stop)
            whole_deg = np.unwrap(roll_deg[later], period=360.0)
            range_deg = float(np.ptp(np.percentile(whole_deg, _MOSTLY)))
            ranges.append(range_deg if track.valid[later].all() else np.inf)
    alike = np.abs(np.subtract.outer(middles, middles)) < _GLIDE_SPREAD_DEG
    if not middles or alike.sum(axis=1).max() < max(2, _GLIDE_SHARE * len(middles)):
        return None
    kept = alike[int(alike.sum(axis=1).argmax())]
    flat = float(np.median(np.array(ranges)[kept])) < _FLAT_DEG
    return _Glide(roll_deg=float(np.median(np.array(middles)[kept])), flat=flat)


def _glides(recording: Recording, lengths: pd.DataFrame) -> list[slice]:
    """Return the rows of the first half of the way from each push-off to the first entry.

    Where no length has one, those of the first second or so.
    """
    untold = not lengths["swim_start_s"].notna().any()
    out = []
    for row in rows_of(lengths, "start_s", "swim_start_s"):
        half_s = _UNTOLD_S if untold else 0.5 * (row["swim_start_s"] - row["start_s"])
        if np.isfinite(half_s):
            span_s = row["start_s"] + np.array([_FROM_WALL_S, half_s])
            out.append(slice(*(int(at) for at in np.searchsorted(recording.time_s, span_s))))
    return out


def _calmest(recording: Recording, track: Track, glide: slice) -> slice | None:
    """Return the calmest stretch of a glide, None where it is too short."""
    width = int(_GLIDE_S * recording.rate_hz)
    if glide.stop - glide.start <= width:
        return None
    rate = np.linalg.norm(track.gyro_rad_s[glide], axis=1)
    half = width // 2
    calm = (
        glide.start + half + int(np.argmin(uniform_filter1d(rate, width)[half : len(rate) - half]))
    )
    return slice(calm - half, calm + half)


def _middle_deg(roll_deg: FloatArray, swimming: BoolArray, rate_hz: float) -> float:
    """Return the middle between the lower quartiles of the peaks of either side."""
    sos = butter(2, 3.0, fs=rate_hz, output="sos")
    smooth = sosfiltfilt(sos, roll_deg)
    sizes = []
    for sign in (1.0, -1.0):
        peaks, _ = find_peaks(sign * smooth, prominence=15.0, distance=int(0.4 * rate_hz))
        peaks = peaks[swimming[peaks]]
        if not len(peaks):
            return 0.0
        sizes.append(float(np.quantile(sign * smooth[peaks], 0.35)))
    return 0.5 * (sizes[0] - sizes[1])


def _unit(vector: FloatArray) -> FloatArray:
    return np.asarray(vector / np.linalg.norm(vector))


def _square(x_axis: FloatArray, z_axis: FloatArray) -> FloatArray:
    """Return the frame that keeps z and turns x square to it."""
    z = _unit(z_axis)
    x = _unit(x_axis - z * (x_axis @ z))
    return np.stack([x, np.cross(z, x), z])


def _square_z(x_axis: FloatArray, z_axis: FloatArray) -> FloatArray:
    """Return the frame that keeps x and turns z square to it."""
    x = _unit(x_axis)
    z = _unit(z_axis - x * (z_axis @ x))
    return np.stack([x, np.cross(z, x), z])
