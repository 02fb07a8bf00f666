"""One wrist shaken most strongly at twice the stroke rate, from its log to strokes and rate.

Many real swimmers' wrists show their largest spectral peak there (from memory, no source). The
rehearsed wrist doesn't, so its log is shaken twice a cycle besides, as by a pull and a recovery
that are alike; the truth stays that of the rehearsal. Synthetic all through. The force isn't that
of any path: shaken at other moments of the cycle, the path found may bend so far that a mid-pull
stays empty at 25 Hz, and a stroke without one isn't counted in `lengths`.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sensorswim import analyse
from sensorswim.model import Placement
from sensorswim.model.streams import FloatArray
from sensorswim.rehearsal import Kit, Length, Plan, Rehearsal, Rest, Stand, rehearse

WRIST = Placement.LEFT_WRIST
SHAKEN_M_S2 = 8.0
RATE_SHARE = 0.01
"""The stroke rate may be off by this; it was by 0.004 at most."""


def strokes_of(swim: Rehearsal) -> pd.DataFrame:
    """Return the true strokes of the wrist that is worn."""
    strokes = swim.truth["arm_strokes"]
    return strokes.loc[(strokes["side"] == "left") & strokes["mid_pull_s"].notna()]


def samples(swim: Rehearsal) -> tuple[FloatArray, FloatArray]:
    """Return time (N,) and force (N, 3) of the wrist."""
    accel = swim.streams[WRIST].accel
    return accel.time_s, accel.values  # noqa: PD011


def shaken(swim: Rehearsal) -> Rehearsal:
    """Return the rehearsal with a force along the forearm that comes and goes twice a cycle."""
    stream = swim.streams[WRIST]
    time_s, values = samples(swim)
    values = values.copy()
    for stroke in strokes_of(swim).dropna(subset=["entry_s", "next_entry_s"]).itertuples():
        phase = (time_s - stroke.entry_s) / (stroke.next_entry_s - stroke.entry_s)
        within = (phase >= 0.0) & (phase < 1.0)
        values[within, 0] -= SHAKEN_M_S2 * np.cos(4.0 * np.pi * phase[within])
    accel = replace(stream.accel, values=values)
    return replace(swim, streams={WRIST: replace(stream, accel=accel)})


def strongest_line_hz(accel: FloatArray, rate_hz: float) -> float:
    """Return where the spectrum of the force's size, which no strap changes, is largest."""
    size = np.linalg.norm(accel, axis=1)
    power = np.abs(np.fft.rfft(size - size.mean()))
    return float(np.fft.rfftfreq(len(size), 1.0 / rate_hz)[np.argmax(power)])


def lines_hz(swim: Rehearsal, rate_hz: float) -> list[float]:
    """Return the strongest line of each length, from its first entry to its last exit."""
    time_s, values = samples(swim)
    found = []
    for _, own in strokes_of(swim).groupby("length_no"):
        swum = (time_s > own["entry_s"].min()) & (time_s < own["exit_s"].max())
        found.append(strongest_line_hz(values[swum], rate_hz))
    return found


def assert_counted_once(lengths: pd.DataFrame, swim: Rehearsal) -> None:
    """Hold the strokes of one arm and the stroke rate of each length to the truth."""
    true = swim.truth["lengths"]
    assert len(lengths) == len(true)
    assert lengths["arm_strokes"].tolist() == strokes_of(swim).groupby("length_no").size().tolist()
    found, wanted = (t["stroke_rate_cycles_min"].to_numpy(dtype=float) for t in (lengths, true))
    np.testing.assert_allclose(found, wanted, rtol=RATE_SHARE)


@pytest.mark.parametrize("rate_hz", [25.0, 30.0, 52.0])
def test_a_wrist_that_is_shaken_twice_a_cycle_is_counted_once(
    rate_hz: float, tmp_path: Path
) -> None:
    segments = (Stand(), Length(), Length(turn="stop"), Rest(duration_s=5.0))
    kit = Kit(placements=(WRIST,), rate_hz=rate_hz)
    swim = shaken(rehearse(Plan(segments=segments), kit=kit, seed=3))
    rates_hz = swim.truth["lengths"]["stroke_rate_cycles_min"].to_numpy(dtype=float) / 60.0
    lines = np.array(lines_hz(swim, rate_hz))
    np.testing.assert_allclose(lines, 2.0 * rates_hz, rtol=0.05)
    lengths = analyse(swim.write(tmp_path / "swim")).lengths
    assert_counted_once(lengths, swim)
    by_line = lengths.assign(stroke_rate_cycles_min=60.0 * lines)
    with pytest.raises(AssertionError):
        assert_counted_once(by_line, swim)
    with pytest.raises(AssertionError):
        assert_counted_once(lengths.assign(arm_strokes=2 * lengths["arm_strokes"]), swim)
