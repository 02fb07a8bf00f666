"""A film of the synthetic swimmer, drawn from its own geometry by a camera that goes along.

The camera looks square across the lane (``side``) or along it (``front``), without perspective,
so that what is measured on a frame can be compared with the geometry itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from sensorswim.errors import InputError
from sensorswim.model import Side
from sensorswim.model.streams import FloatArray
from sensorswim.rehearsal.body import FOREARM, Body
from sensorswim.rehearsal.timeline import RATE_HZ

Image = npt.NDArray[np.uint8]
VIEWS: Final = ("side", "front")
WIDTH_PX, HEIGHT_PX = 640, 360
_SCALE_PX_M: Final = {"side": 190.0, "front": 230.0}
_HORIZON_PX: Final = 110
_STEP: Final = 10
_HAND: Final = 0.7
"""Length of the drawn hand as a share of the forearm."""

_WATER, _AIR, _FLOOR = (206, 226, 234), (246, 247, 245), (150, 172, 184)
_SURFACE, _BODY = (66, 120, 146), (70, 84, 98)
_NEAR: Final = {Side.LEFT: (74, 63, 168), Side.RIGHT: (181, 105, 10)}
_LIMBS: Final = (
    ("shoulder", "elbow", 0.045), ("elbow", "wrist", 0.036), ("wrist", "finger", 0.026),
    ("hip", "knee", 0.07), ("knee", "ankle", 0.045), ("ankle", "toe", 0.03),
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Skeleton:
    """The joints over time.

    Parameters
    ----------
    time_s : (N,)
        Session time, regular.
    joints_m : dict
        (N, 3) in the world by name: ``pelvis``, ``thorax``, ``head``, and ``left_shoulder``,
        ``left_elbow``, ``left_wrist``, ``left_finger``, ``left_hip``, ``left_knee``,
        ``left_ankle``, ``left_toe``, and the same of the right.
    """

    time_s: FloatArray
    joints_m: dict[str, FloatArray]

    def at(self, time_s: float) -> dict[str, FloatArray]:
        """Return each joint (3,) at a moment, between two samples if need be."""
        where = (time_s - self.time_s[0]) / (self.time_s[1] - self.time_s[0])
        first = int(np.clip(np.floor(where), 0, len(self.time_s) - 2))
        share = float(np.clip(where - first, 0.0, 1.0))
        return {
            name: (1 - share) * path[first] + share * path[first + 1]
            for name, path in self.joints_m.items()
        }


def skeleton(body: Body, *, to_session: Callable[[Any], Any]) -> Skeleton:
    """Return the joints of a body at 100 Hz."""
    step = slice(None, None, _STEP)
    joints = {"pelvis": body.pelvis_m, "thorax": body.thorax_m, "head": body.head_m}
    for side in Side:
        arm, leg = body.arm(side)[0], body.leg(side)
        hand = arm.wrist_m + _HAND * (arm.wrist_m - arm.elbow_m)
        sole = leg.ankle_m - 0.6 * FOREARM * body.height_m * leg.shank[:, :, 0]
        points = [arm.shoulder_m, arm.elbow_m, arm.wrist_m, hand]
        points += [leg.hip_m, leg.knee_m, leg.ankle_m, sole]
        names = ("shoulder", "elbow", "wrist", "finger", "hip", "knee", "ankle", "toe")
        joints |= {f"{side}_{name}": path for name, path in zip(names, points, strict=True)}
    thin = {name: path[step] for name, path in joints.items()}
    grid = np.arange(len(body.time_s))[step] / RATE_HZ
    return Skeleton(time_s=np.asarray(to_session(grid), dtype=float), joints_m=thin)


@dataclass(frozen=True, kw_only=True)
class Camera:
    """Where a point of the world is on the picture.

    Parameters
    ----------
    view : str
        ``side`` (across the lane, seen from its right) or ``front`` (along the lane).

    Raises
    ------
    InputError
        Another view.
    """

    view: str = "side"

    def __post_init__(self) -> None:
        if self.view not in VIEWS:
            raise InputError(f"no view {self.view!r}", mend=f"use {' or '.join(VIEWS)}")

    def project(self, point_m: FloatArray, centre_m: FloatArray) -> FloatArray:
        """Return pixels (2,), right and down, of a point; the centre stays in the middle.

        The surface lies high in the picture, lower while the centre is above the water.
        """
        scale = _SCALE_PX_M[self.view]
        across = 0 if self.view == "side" else 1
        right = (point_m[across] - centre_m[across]) * scale + WIDTH_PX / 2
        return np.array([right, self._surface_px(centre_m) - point_m[2] * scale])

    def draw(self, joints_m: dict[str, FloatArray]) -> Image:
        """Return one frame (H, W, 3): pool, water line and swimmer, the far limbs paler."""
        centre = joints_m["pelvis"]
        picture = self._pool(centre)
        at = {name: self.project(point, centre) for name, point in joints_m.items()}
        scale = _SCALE_PX_M[self.view]
        depth = 1 if self.view == "side" else 0
        near = min(Side, key=lambda side: joints_m[f"{side}_shoulder"][depth])
        self._limbs(picture, at, near.other, _pale(_NEAR[near.other]))
        _capsule(picture, at["thorax"], at["pelvis"], 0.11 * scale, _BODY)
        _capsule(picture, at["head"], at["head"], 0.1 * scale, _BODY)
        self._limbs(picture, at, near, _NEAR[near])
        for joint in ("shoulder", "elbow", "wrist", "hip", "knee", "ankle"):
            spot = at[f"{near}_{joint}"]
            _capsule(picture, spot, spot, 2.5, _AIR)
        return picture

    def _limbs(
        self, picture: Image, at: dict[str, FloatArray], side: Side, colour: tuple[int, int, int]
    ) -> None:
        for start, end, width in _LIMBS:
            radius = width * _SCALE_PX_M[self.view]
            _capsule(picture, at[f"{side}_{start}"], at[f"{side}_{end}"], radius, colour)

    def _surface_px(self, centre_m: FloatArray) -> float:
        return _HORIZON_PX + 1.05 * max(0.0, float(centre_m[2])) * _SCALE_PX_M[self.view]

    def _pool(self, centre_m: FloatArray) -> Image:
        line = round(self._surface_px(centre_m))
        picture = np.empty((HEIGHT_PX, WIDTH_PX, 3), dtype=np.uint8)
        picture[:line], picture[line:] = _AIR, _WATER
        picture[line : line + 2] = _SURFACE
        picture[-14:] = _FLOOR
        if self.view == "side":
            for metre in range(int(centre_m[0]) - 3, int(centre_m[0]) + 4):
                column = int((metre - centre_m[0]) * _SCALE_PX_M["side"] + WIDTH_PX / 2)
                if 0 <= column < WIDTH_PX - 3:
                    picture[-14:, column : column + 3] = _SURFACE
        return picture


def frames(
    figure: Skeleton, *, start_s: float, count: int, rate_hz: float, view: str = "side"
) -> Iterator[Image]:
    """Yield frames of the film, the first at `start_s` of session time."""
    camera = Camera(view=view)
    for index in range(count):
        yield camera.draw(figure.at(start_s + index / rate_hz))


def clicks(
    knocks_s: list[float], *, start_s: float, duration_s: float, rate_hz: int = 48000
) -> FloatArray:
    """Return the sound (N,), -1..1: a quiet pool and a click of 4 ms at each knock."""
    rng = np.random.default_rng(0)
    sound = 0.004 * rng.standard_normal(int(duration_s * rate_hz))
    burst = np.exp(-np.arange(int(0.004 * rate_hz)) / (0.0008 * rate_hz))
    burst *= np.sin(2 * np.pi * 2500.0 * np.arange(len(burst)) / rate_hz)
    for moment in knocks_s:
        first = round((moment - start_s) * rate_hz)
        if 0 <= first < len(sound) - len(burst):
            sound[first : first + len(burst)] += 0.8 * burst
    return sound.clip(-1.0, 1.0)


def _pale(colour: tuple[int, int, int]) -> tuple[int, int, int]:
    mixed = 0.55 * np.array(colour) + 0.45 * np.array(_WATER)
    return (int(mixed[0]), int(mixed[1]), int(mixed[2]))


def _capsule(
    picture: Image, a: FloatArray, b: FloatArray, radius_px: float, colour: tuple[int, int, int]
) -> None:
    """Draw a line with round ends and soft edges into the picture."""
    low = np.floor(np.minimum(a, b) - radius_px - 1).astype(int).clip(0)
    high = np.ceil(np.maximum(a, b) + radius_px + 2).astype(int)
    x0, y0 = low
    x1, y1 = min(high[0], WIDTH_PX), min(high[1], HEIGHT_PX)
    if x1 <= x0 or y1 <= y0:
        return
    px = (np.arange(x0, x1)[None, :] - a[0]).astype(np.float32)
    py = (np.arange(y0, y1)[:, None] - a[1]).astype(np.float32)
    way = (b - a).astype(np.float32)
    square = float(way @ way)
    share = ((px * way[0] + py * way[1]) / square).clip(0, 1) if square > 0 else 0.0
    distance = np.sqrt((px - share * way[0]) ** 2 + (py - share * way[1]) ** 2)
    cover = (radius_px + 0.5 - distance).clip(0, 1)[:, :, None]
    part = picture[y0:y1, x0:x1]
    paint = np.array(colour, dtype=np.float32)
    part[:] = part + (paint - part) * cover
