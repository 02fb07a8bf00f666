"""Knocks in the sound of a clip: sharp bursts, three in a row about half a second apart."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import av
import numpy as np
from scipy.ndimage import maximum_filter1d, percentile_filter
from scipy.signal import find_peaks

from sensorswim.model.streams import FloatArray
from sensorswim.video.facts import opened

_RATE_HZ: Final = 16000
_STEP_S: Final = 0.001
_NEAR_S, _FAR_S = 0.25, 0.9
_UNEQUAL: Final = 0.7
_ABOVE_FLOOR: Final = 6.0
_MOST: Final = 40


def knocks_heard(path: Path) -> FloatArray:
    """Return the triplets of knocks in a clip's sound, (K, 3) in s after its first frame.

    A knock is a burst that stands at least six times above the sound around it. Three count
    where they are 0.25 to 0.9 s apart and evenly spaced. The clearest come first.

    Raises
    ------
    InputError
        The clip can't be read; one without sound gives no triplets.
    """
    loud = _loudness(path)
    if len(loud) < round(2 * _NEAR_S / _STEP_S):
        return np.empty((0, 3))
    floor = np.maximum(percentile_filter(loud[::10], 50, size=300).repeat(10)[: len(loud)], 1e-6)
    peaks, _ = find_peaks(loud / floor, height=_ABOVE_FLOOR, distance=round(0.15 / _STEP_S))
    tallest = maximum_filter1d(loud, round(1.4 / _STEP_S))[peaks]
    peaks = peaks[loud[peaks] > 0.25 * tallest]
    return _triplets(np.array([_onset(loud, peak) for peak in peaks]), loud[peaks])


def _loudness(path: Path) -> FloatArray:
    """Return the largest change of the sound in each ms after the first frame, (N,)."""
    with opened(path) as clip:
        if not clip.streams.audio:
            return np.empty(0)
        shown_s = _start_s(clip.streams.video[0]) if clip.streams.video else 0.0
        resampler = av.AudioResampler(format="flt", layout="mono", rate=_RATE_HZ)
        parts: list[FloatArray] = []
        heard_s: float | None = None
        for frame in clip.decode(clip.streams.audio[0]):
            if heard_s is None and frame.pts is not None:
                heard_s = frame.pts * float(frame.time_base)
            parts += [piece.to_ndarray()[0] for piece in resampler.resample(frame)]
    if not parts:
        return np.empty(0)
    sharp = np.abs(np.diff(np.concatenate(parts), prepend=0.0))
    width = round(_RATE_HZ * _STEP_S)
    steps = sharp[: len(sharp) // width * width].reshape(-1, width).max(axis=1)
    lead = round(((heard_s or 0.0) - shown_s) / _STEP_S)
    return np.r_[np.zeros(lead), steps] if lead > 0 else steps[-lead:]


def _start_s(stream: object) -> float:
    start = getattr(stream, "start_time", None)
    return 0.0 if start is None else float(start * stream.time_base)  # type: ignore[attr-defined]


def _onset(loud: FloatArray, peak: int) -> float:
    """Return when a burst begins: it first passes half its height."""
    before = loud[max(0, peak - 20) : peak + 1]
    rise = int(np.argmax(before >= 0.5 * loud[peak]))
    return float((max(0, peak - 20) + rise + 0.5) * _STEP_S)


def _triplets(moments_s: FloatArray, height: FloatArray) -> FloatArray:
    found = []
    for i in range(len(moments_s) - 2):
        a, b = np.diff(moments_s[i : i + 3])
        even = abs(a - b) < _UNEQUAL * min(a, b)
        if even and min(a, b) > _NEAR_S and max(a, b) < _FAR_S:
            found.append((float(height[i : i + 3].min()), moments_s[i : i + 3]))
    found.sort(key=lambda pair: -pair[0])
    return np.array([times for _, times in found[:_MOST]]).reshape(-1, 3)
