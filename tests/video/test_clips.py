"""Phone clips: told apart, copied upright at their true rate, placed by knocks in their sound."""

from __future__ import annotations

from pathlib import Path

import av
import numpy as np
import pytest

from sensorswim.errors import InputError
from sensorswim.video import (
    knocks_heard,
    make_copy,
    place_by_knocks,
    plays_as_it_is,
    read_facts,
    write_film,
)
from tests.video.made_clips import HEIGHT, WIDTH, picture, write_clip

EVEN = [i / 30 for i in range(45)]
UNEVEN = list(np.cumsum(np.tile([1 / 30, 1 / 24, 1 / 30, 1 / 15], 12)) - 1 / 30)


def first_picture(path: Path) -> np.ndarray:
    with av.open(str(path)) as clip:
        return np.asarray(next(clip.decode(video=0)).to_ndarray(format="rgb24"))


def shown_times(path: Path) -> np.ndarray:
    return read_facts(path).frame_s


def test_a_clip_that_browsers_play_is_left_as_it_is(tmp_path: Path) -> None:
    facts = read_facts(write_clip(tmp_path / "a.mp4", EVEN))
    assert facts.codec == "h264"
    assert facts.frame_s == pytest.approx(EVEN, abs=1e-4)
    assert facts.slow_factor == 1.0
    assert plays_as_it_is(facts)
    assert not plays_as_it_is(facts, slow_factor=8.0)


def test_hevc_is_copied_into_what_browsers_play(tmp_path: Path) -> None:
    source = write_clip(tmp_path / "a.mp4", EVEN, codec="libx265")
    facts = read_facts(source)
    assert facts.codec == "hevc"
    assert not plays_as_it_is(facts)
    told: list[float] = []
    copy = make_copy(source, tmp_path / "cache" / "a.webm", facts, progress=told.append)
    assert read_facts(copy).codec == "vp9"
    assert plays_as_it_is(read_facts(copy))
    assert told == sorted(told)
    assert told[-1] > 0.9
    assert source.exists()


def test_a_copy_keeps_the_time_of_every_frame_of_a_variable_rate(tmp_path: Path) -> None:
    source = write_clip(tmp_path / "a.mp4", UNEVEN, codec="libx265")
    copy = make_copy(source, tmp_path / "b.webm", read_facts(source))
    assert shown_times(copy) == pytest.approx(UNEVEN, abs=0.0011)


def test_slow_motion_is_copied_at_its_true_rate_without_its_sound(tmp_path: Path) -> None:
    said = {"com.android.capture.fps": "240.0"}
    source = write_clip(tmp_path / "a.mp4", EVEN, metadata=said, clicks_s=[0.5])
    facts = read_facts(source)
    assert facts.slow_factor == pytest.approx(8.0, rel=0.01)
    copy = make_copy(source, tmp_path / "b.webm", facts, slow_factor=facts.slow_factor)
    assert shown_times(copy) == pytest.approx(np.array(EVEN) / 8, abs=0.0011)
    assert not read_facts(copy).has_sound


@pytest.mark.parametrize("turn", [90, 180, 270])
def test_a_rotated_clip_is_copied_upright(tmp_path: Path, turn: int) -> None:
    source = write_clip(tmp_path / "a.mp4", EVEN[:5], rotation_deg=turn)
    facts = read_facts(source)
    assert facts.rotation_deg % 180 == turn % 180
    expected = np.rot90(picture(0), facts.rotation_deg // 90)
    assert (facts.height_px, facts.width_px) == expected.shape[:2]
    seen = first_picture(make_copy(source, tmp_path / "b.webm", facts))
    assert seen.shape == expected.shape
    assert np.abs(seen.astype(int) - expected.astype(int)).mean() < 12


def test_three_knocks_are_heard_within_two_milliseconds(tmp_path: Path) -> None:
    knocks = [1.2, 1.73, 2.21]
    clip = write_clip(tmp_path / "a.mp4", [i / 30 for i in range(120)], clicks_s=knocks)
    heard = knocks_heard(clip)
    assert len(heard) == 1
    assert heard[0] == pytest.approx(knocks, abs=0.002)


def test_one_bang_two_bangs_or_no_sound_are_no_knocks(tmp_path: Path) -> None:
    times = [i / 30 for i in range(120)]
    for index, clicks in enumerate(([1.0], [1.0, 1.5], [])):
        clip = write_clip(tmp_path / f"{index}.mp4", times, clicks_s=clicks)
        assert len(knocks_heard(clip)) == 0


def test_the_spacing_tells_which_knocks_were_heard() -> None:
    felt = np.array([[10.0, 10.52, 11.02], [400.0, 400.47, 401.03]])
    heard = np.array([[2.0, 2.472, 3.031]])
    places = place_by_knocks(heard, felt)
    assert len(places) == 1
    assert places[0].starts_at_s == pytest.approx(398.0, abs=0.002)
    assert 0 < places[0].error_s < 0.003


def test_unlike_knocks_give_no_place() -> None:
    assert place_by_knocks(np.array([[1.0, 1.3, 1.9]]), np.array([[5.0, 5.5, 6.0]])) == []
    assert place_by_knocks(np.empty((0, 3)), np.array([[5.0, 5.5, 6.0]])) == []


def test_a_film_is_read_back_with_its_frames_and_sound(tmp_path: Path) -> None:
    images = [picture(i) for i in range(25)]
    path = write_film(tmp_path / "f.webm", images, rate_hz=25, sound=np.zeros(48000))
    facts = read_facts(path)
    assert (facts.width_px, facts.height_px) == (WIDTH, HEIGHT)
    assert facts.frame_s == pytest.approx(np.arange(25) / 25, abs=0.001)
    assert facts.has_sound
    assert sorted(p.name for p in tmp_path.iterdir()) == ["f.webm"]


@pytest.mark.parametrize("content", [b"", b"not a video" * 50])
def test_what_is_no_video_is_refused_in_one_line(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "clip.mp4"
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"clip\.mp4: can't be read as a video"):
        read_facts(path)


def test_a_copy_that_fails_leaves_nothing_behind(tmp_path: Path) -> None:
    whole = write_clip(tmp_path / "a.mp4", EVEN, codec="libx265")
    facts = read_facts(whole)
    whole.write_bytes(whole.read_bytes()[:200])
    with pytest.raises(InputError):
        make_copy(whole, tmp_path / "out" / "b.webm", facts)
    assert list((tmp_path / "out").iterdir()) == []
