from __future__ import annotations

import tempfile
import tomllib
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from uuid import uuid4

import numpy as np
import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from sensorswim.errors import SessionError
from sensorswim.formats.session_toml import read_session
from sensorswim.formats.session_write import write_session
from sensorswim.model import (
    Block,
    Placement,
    Quality,
    SensorFile,
    Session,
    Video,
    VideoMark,
)
from tests.formats.small_session import SESSION_TOML, build_small_session

TEXT = st.text(st.characters(codec="utf-8", categories=["L", "N", "P", "S"]), max_size=20)
TIMES = st.floats(0.0, 9000.0)
KINDS = ("swim", "drill", "kick", "pull")
AIDS = ("fins", "snorkel", "board", "buoy", "paddles", "band")


@st.composite
def blocks(draw: st.DrawFn) -> tuple[Block, ...]:
    edges = sorted(draw(st.sets(TIMES, min_size=2, max_size=8)))
    made = []
    for start_s, end_s in zip(edges[::2], edges[1::2], strict=False):
        kinds = draw(st.lists(st.sampled_from(KINDS), min_size=1, max_size=3))
        felt = st.dictionaries(st.sampled_from(("kick_beat", "speed_m_s")), TIMES)
        made.append(
            Block(
                start_s=start_s,
                end_s=end_s,
                label=draw(TEXT),
                lengths=("drill", *kinds),
                drill=draw(st.none() | TEXT.filter(bool)),
                aids=tuple(draw(st.lists(st.sampled_from(AIDS), unique=True))),
                breathing=draw(st.none() | TEXT.filter(bool)),
                felt=draw(felt),
            )
        )
    return tuple(made)


@st.composite
def sessions(draw: st.DrawFn, folder: Path) -> Session:
    names = draw(st.lists(st.sampled_from(list(Placement)), min_size=1, unique=True))
    sensors = []
    for name in names:
        two = draw(st.booleans())
        files = ("accel_file", "gyro_file") if two else ("file",)
        paths = {key: folder / f"{name} {key}.csv" for key in files}
        columns = draw(st.dictionaries(st.sampled_from(("time_ms", "accel_x_g")), TEXT))
        sensors.append(
            SensorFile(
                placement=name,
                accel_range_g=draw(st.none() | st.floats(2.0, 32.0)),
                columns=columns,
                **paths,
            )
        )
    marks = draw(st.sets(TIMES, max_size=3))
    zone = timezone(timedelta(minutes=draw(st.integers(-14 * 60, 14 * 60))))
    whole = Session(
        folder=folder,
        started_at=draw(st.datetimes(datetime(2000, 1, 2), datetime(2100, 1, 1))).replace(
            tzinfo=zone
        ),
        swimmer=draw(TEXT),
        pool_length_m=draw(st.sampled_from((25.0, 22.86, 50.0)) | st.floats(10.0, 150.0)),
        sensors=tuple(sensors),
        height_m=draw(st.none() | st.floats(0.8, 2.5)),
        session_id=draw(st.none() | st.just(str(uuid4()))),
        blocks=draw(blocks()),
        extra=draw(st.dictionaries(st.sampled_from(("mood", "water c", "ü")), TEXT)),
    )
    video = Video(
        file=folder / "side.webm",
        starts_at_s=draw(st.none() | TIMES),
        marks=tuple(VideoMark(video_s=t, session_s=t + 1.0, label=draw(TEXT)) for t in marks),
    )
    return replace(whole, videos=draw(st.sampled_from(((), (video,)))))


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_written_session_is_read_back_as_it_was(data: st.DataObject) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        session = data.draw(sessions(folder))
        for sensor in session.sensors:
            for path in (sensor.file, sensor.accel_file, sensor.gyro_file):
                if path is not None:
                    path.touch()
        write_session(session, folder)
        assert read_session(folder, Quality()) == session
        write_session(session, folder)
        assert read_session(folder, Quality()) == session


def test_the_example_says_what_the_contract_says(tmp_path: Path) -> None:
    session = read_session(build_small_session(tmp_path), Quality())
    assert session.started_at == datetime(2026, 3, 14, 6, 30, tzinfo=UTC)
    assert [s.placement for s in session.sensors] == ["left_wrist", "right_wrist"]
    (block,) = session.blocks
    assert block.felt == {"kick_beat": 4.0}
    assert block.aids == ("fins",)
    assert [block.kind_of(i) for i in range(3)] == ["drill", "swim", "drill"]
    assert session.extra == {}


def test_editing_keeps_comments_and_unknown_keys(tmp_path: Path) -> None:
    folder = build_small_session(tmp_path)
    path = folder / "session.toml"
    path.write_text(SESSION_TOML.replace("height_m", "# by tape\nmood = 3\nheight_m"))
    session = read_session(folder, Quality())
    write_session(replace(session, height_m=1.8, session_id=str(uuid4())), folder)
    text = path.read_text()
    assert "# by tape" in text
    assert "height_m = 1.8" in text
    assert read_session(folder, Quality()).extra == {"mood": 3}


def test_editing_takes_out_what_is_no_longer_there(tmp_path: Path) -> None:
    folder = build_small_session(tmp_path)
    session = read_session(folder, Quality())
    write_session(replace(session, height_m=None, blocks=()), folder)
    again = read_session(folder, Quality())
    assert again.height_m is None
    assert again.blocks == ()


def test_nothing_but_the_session_is_left_behind(tmp_path: Path) -> None:
    folder = build_small_session(tmp_path)
    before = sorted(path.name for path in folder.iterdir())
    assert write_session(read_session(folder, Quality()), folder) == folder / "session.toml"
    assert sorted(path.name for path in folder.iterdir()) == before


def test_a_broken_session_is_not_overwritten(tmp_path: Path) -> None:
    folder = build_small_session(tmp_path)
    session = read_session(folder, Quality())
    (folder / "session.toml").write_text("format = = 1")
    with pytest.raises(SessionError, match=r"session\.toml"):
        write_session(session, folder)
    assert (folder / "session.toml").read_text() == "format = = 1"


def test_a_log_outside_is_not_written(tmp_path: Path) -> None:
    folder = build_small_session(tmp_path / "s")
    session = read_session(folder, Quality())
    stray = SensorFile(placement=Placement.HEAD, file=tmp_path / "head.csv")
    with pytest.raises(SessionError, match="outside"):
        write_session(replace(session, sensors=(stray,)), folder)


def test_marks_are_read_in_order(tmp_path: Path) -> None:
    folder = build_small_session(tmp_path)
    (folder / "marks.toml").write_text(
        '[[mark]]\nkind = "note"\nsession_s = 12.5\nlabel = "late"\n'
        '[[mark]]\nkind = "angle"\nvideo = "v.webm"\nvideo_s = 3\nvalue = 105\nunit = "deg"\n'
        'view = "side"\nhue = 1\n'
    )
    quality = Quality()
    first, second = read_session(folder, quality).marks
    assert (first.kind, first.session_s, first.label) == ("note", 12.5, "late")
    assert (second.video, second.video_s, second.value) == ("v.webm", 3.0, 105.0)
    assert quality.codes() == {"unknown_key"}


def test_the_error_names_file_table_and_key(tmp_path: Path) -> None:
    folder = build_small_session(tmp_path)
    text = SESSION_TOML.replace('"right_wrist"', '"right_knee"')
    (folder / "session.toml").write_text(text)
    with pytest.raises(SessionError) as caught:
        read_session(folder, Quality())
    assert str(caught.value).startswith("session.toml [[sensor]] 2 placement: 'right_knee'")


FULL_TOML = """
format = 1
started_at = 2026-03-14T06:30:00+00:00
session_id = "b1f0c1de-0000-4000-8000-000000000000"
swimmer_id = "b1f0c1de-0000-4000-8000-000000000001"
swimmer = "Invented"
height_m = 1.72
upper_arm_m = 0.3
forearm_m = 0.25
pool_length_m = 25.0
sensor.placement = "left_wrist"
sensor.file = "left_wrist.csv"
sensor.accel_range_g = 16
sensor.gyro_range_deg_s = 2000
sensor.columns.time_s = "t"
block.start_s = 1
block.end_s = 2
block.label = "a"
block.lengths = ["swim"]
block.drill = "b"
block.aids = ["fins"]
block.breathing = "every 3"
block.felt_kick_beat = 4
video.file = "v.webm"
video.starts_at_s = 1
video.mark.video_s = 1
video.mark.session_s = 1
video.mark.label = "c"
"""
ODD = (True, 10**400, -1, 0, float("nan"), float("-inf"), 1e308, "", "x" * 1000, "\0", "a\nb", "..")
ODD_TABLES = ([], {}, [[1]], [{}], [{"a": 1}], {"a": {"b": []}}, datetime(2026, 1, 1), 1.5)


def full_keys() -> list[str]:
    return [line.split(" = ")[0] for line in FULL_TOML.split("\n") if " = " in line]


def with_value(key: str, value: object) -> dict[str, object]:
    """Return the full session with one key replaced; its tables become arrays of one."""
    data = tomllib.loads(FULL_TOML)
    *path, last = key.split(".")
    table = data
    for step in path:
        table = table[step]
    table[last] = value
    data["video"]["mark"] = [data["video"]["mark"]]
    return data | {name: [data[name]] for name in ("sensor", "block", "video")}


@pytest.mark.parametrize("key", full_keys())
@pytest.mark.parametrize("value", [*ODD, *ODD_TABLES], ids=lambda value: repr(value)[:12])
def test_any_value_of_any_key_is_read_or_ends_as_one_line(
    key: str, value: object, tmp_path: Path
) -> None:
    folder = tmp_path
    (folder / "left_wrist.csv").touch()
    (folder / "session.toml").write_text(tomlkit.dumps(with_value(key, value)), encoding="utf-8")
    try:
        session = read_session(folder, Quality())
    except SessionError as failure:
        assert str(failure).isprintable()
        assert len(str(failure)) < 600
        assert "session.toml" in str(failure)
        return
    write_session(session, folder)
    assert read_session(folder, Quality()) == session


@settings(max_examples=150, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), count=st.integers(1, 8))
def test_no_damage_to_the_bytes_ends_in_anything_but_one_line(seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    raw = bytearray(SESSION_TOML.encode())
    for _ in range(count):
        at = int(rng.integers(0, len(raw)))
        raw[at : at + int(rng.integers(0, 3))] = rng.bytes(int(rng.integers(0, 3)))
    with tempfile.TemporaryDirectory() as name:
        (Path(name) / "left_wrist.csv").touch()
        (Path(name) / "right_wrist.csv").touch()
        (Path(name) / "session.toml").write_bytes(raw)
        try:
            session = read_session(Path(name), Quality())
        except SessionError as failure:
            assert str(failure).isprintable()
            return
        assert session.sensors


def test_no_folder_is_one_line(tmp_path: Path) -> None:
    with pytest.raises(SessionError, match="no folder"):
        read_session(tmp_path / "gone", Quality())
