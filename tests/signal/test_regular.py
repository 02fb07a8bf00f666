"""One regular grid: values, gaps, rates, and what is said about them."""

import numpy as np
import pytest
from made_streams import Clock, session, stream

from sensorswim.errors import LogError
from sensorswim.model import ClockFit, Placement, Quality, Samples, Settings, Severity, Stream
from sensorswim.signal import prepare
from sensorswim.signal.regular import Grid, resample, valid_pieces

WRIST, ANKLE = Placement.LEFT_WRIST, Placement.RIGHT_ANKLE


def wave(time_s, freq_hz=3.0):
    phase = 2.0 * np.pi * freq_hz * np.asarray(time_s)
    return np.stack([np.sin(phase), np.cos(phase), 0.5 * np.sin(phase + 1.0)], axis=1)


def sampled(rate_hz, duration_s=20.0, freq_hz=3.0):
    time_s = np.arange(int(duration_s * rate_hz)) / rate_hz
    return Samples(time_s=time_s, values=wave(time_s, freq_hz))


def on_grid(samples, max_gap_bridged_s=0.12, count=1900):
    return resample(samples, ClockFit(), Grid(start_s=0.0, count=count), max_gap_bridged_s)


def lone(samples):
    still = Samples(time_s=samples.time_s, values=np.zeros_like(samples.values))
    return {WRIST: Stream(placement=WRIST, accel=samples, gyro=still)}


def prepared(samples):
    quality = Quality()
    return prepare(session(WRIST), lone(samples), Settings(), quality), quality


@pytest.mark.parametrize("rate_hz", [25, 50, 100, 104, 119, 200, 285.7, 400])
def test_a_3_hz_wave_survives_from_any_rate(rate_hz):
    values, valid = on_grid(sampled(rate_hz))
    inner = slice(50, -50)
    error = np.abs(values - wave(np.arange(1900) / 100.0))[inner].max()
    assert valid[inner].all()
    assert error < (0.02 if rate_hz < 40 else 0.002)


def test_what_the_grid_cannot_hold_is_filtered_out_of_fast_sources():
    values, _ = on_grid(sampled(400, freq_hz=97.0))
    assert np.abs(values[50:-50]).max() < 0.01


def test_the_anti_alias_filter_delays_nothing():
    values, _ = on_grid(sampled(400, freq_hz=20.0))
    shift = np.angle(np.vdot(wave(np.arange(1900) / 100.0, 20.0)[50:-50], values[50:-50]))
    assert abs(shift) < 1e-6


def test_a_long_hole_is_invalid_and_a_short_one_is_not():
    full = sampled(100)
    keep = ~(
        ((full.time_s > 5.0) & (full.time_s < 6.0)) | ((full.time_s > 9) & (full.time_s < 9.1))
    )
    values, valid = on_grid(Samples(time_s=full.time_s[keep], values=full.values[keep]))
    time_s = np.arange(1900) / 100.0
    assert not valid[(time_s > 5.005) & (time_s < 5.995)].any()
    assert valid[(time_s < 4.99) | (time_s > 6.01)].all()
    assert np.isfinite(values).all()


def test_what_happens_before_a_gap_never_reaches_past_it():
    full = sampled(400)
    keep = (full.time_s < 5.0) | (full.time_s > 6.0)
    one = Samples(time_s=full.time_s[keep], values=full.values[keep])
    other = Samples(time_s=one.time_s, values=np.where(one.time_s[:, None] < 5.0, 9.0, one.values))
    past = np.arange(1900) / 100.0 > 6.005
    np.testing.assert_array_equal(on_grid(one)[0][past], on_grid(other)[0][past])


def test_a_slow_log_is_not_one_long_gap():
    samples = sampled(5.0)
    _, valid = on_grid(samples, max_gap_bridged_s=0.05)
    assert valid.all()


def test_outside_the_log_nothing_is_valid_but_all_is_finite():
    late = sampled(100, duration_s=5.0)
    late = Samples(time_s=late.time_s + 8.0, values=late.values)
    values, valid = on_grid(late)
    assert valid_pieces(valid) == [slice(800, 1300)]
    assert np.isfinite(values).all()


def test_crowded_stamps_do_not_overshoot():
    samples = sampled(100)
    time_s = samples.time_s.copy()
    time_s[500] = time_s[501] - 1e-5
    values, _ = on_grid(Samples(time_s=time_s, values=samples.values))
    assert np.abs(values).max() < 1.01


def test_a_shift_of_all_clocks_shifts_the_grid_and_nothing_else():
    samples = sampled(104)
    shifted = Samples(time_s=samples.time_s + 1234.0, values=samples.values)
    a, b = prepared(samples)[0], prepared(shifted)[0]
    np.testing.assert_allclose(b.time_s - a.time_s, 1234.0, atol=1e-9)
    np.testing.assert_allclose(a.tracks[WRIST].accel_m_s2, b.tracks[WRIST].accel_m_s2, atol=1e-6)


def test_accel_and_gyro_with_stamps_of_their_own_meet_on_the_grid():
    accel, gyro = sampled(100), sampled(71.0)
    recording = prepare(
        session(WRIST),
        {WRIST: Stream(placement=WRIST, accel=accel, gyro=gyro)},
        Settings(),
        Quality(),
    )
    track = recording.tracks[WRIST]
    np.testing.assert_allclose(track.accel_m_s2[100:-100], track.gyro_rad_s[100:-100], atol=0.01)
    assert track.source_rate_hz == pytest.approx(71.0)


def test_gap_rows_name_place_and_time():
    full = sampled(100)
    keep = (full.time_s < 5.0) | (full.time_s > 7.0)
    _, quality = prepared(Samples(time_s=full.time_s[keep], values=full.values[keep]))
    (row,) = [row for row in quality if row.code == "gap"]
    assert (row.placement, row.severity) == ("left_wrist", Severity.DEGRADED)
    assert row.start_s == pytest.approx(5.0, abs=0.02)
    assert row.end_s == pytest.approx(7.0, abs=0.02)


def test_very_many_gaps_are_summed_up():
    full = sampled(100, duration_s=200.0)
    keep = np.mod(full.time_s, 1.0) > 0.3
    _, quality = prepared(Samples(time_s=full.time_s[keep], values=full.values[keep]))
    assert sum(row.code == "gap" for row in quality) == 40
    assert "gaps_many" in quality.codes()


@pytest.mark.parametrize(("rate_hz", "said"), [(25, True), (40, True), (50, False), (100, False)])
def test_a_low_rate_is_said(rate_hz, said):
    assert ("low_rate" in prepared(sampled(rate_hz))[1].codes()) is said


def test_wandering_stamps_are_said():
    full = sampled(100)
    wander = np.random.default_rng(0).uniform(0.0, 0.009, len(full))
    _, quality = prepared(Samples(time_s=full.time_s + wander, values=full.values))
    assert "time_jitter" in quality.codes()
    assert "time_jitter" not in prepared(full)[1].codes()


def test_different_rates_are_said_once():
    quality = Quality()
    streams = {
        WRIST: stream(WRIST, Clock(rate_hz=100), 90.0),
        ANKLE: stream(ANKLE, Clock(rate_hz=50), 90.0),
    }
    recording = prepare(session(WRIST, ANKLE), streams, Settings(), quality)
    assert sum(row.code == "rate_differs" for row in quality) == 1
    assert recording.tracks[ANKLE].source_rate_hz == pytest.approx(50.0, rel=1e-3)


def test_a_first_sensor_that_dies_early_does_not_cut_the_session():
    places = [WRIST, Placement.RIGHT_WRIST, ANKLE]
    streams = {place: stream(place, Clock(), 200.0) for place in places}
    log = streams[WRIST].accel
    short = Samples(time_s=log.time_s[:6000], values=log.values[:6000])
    streams[WRIST] = Stream(placement=WRIST, accel=short, gyro=short)
    recording = prepare(session(*places), streams, Settings(), Quality())
    assert recording.time_s[-1] > 195.0
    assert not recording.tracks[WRIST].valid[-1]
    assert recording.tracks[ANKLE].valid[-100]


def test_no_data_at_all_is_one_clear_line():
    nothing = Samples(time_s=np.empty(0), values=np.empty((0, 3)))
    with pytest.raises(LogError, match="no sensor holds any data"):
        prepare(session(WRIST), lone(nothing), Settings(), Quality())


def test_a_sensor_of_one_sample_is_left_out_and_said():
    full, quality = sampled(100), Quality()
    single = Samples(time_s=full.time_s[:1], values=full.values[:1])
    streams = lone(full) | {ANKLE: Stream(placement=ANKLE, accel=single, gyro=single)}
    recording = prepare(session(WRIST, ANKLE), streams, Settings(), quality)
    assert list(recording.tracks) == [WRIST]
    assert [r.placement for r in quality if r.code == "sensor_lost"] == ["right_ankle"]
