"""Segments: readable up to the last whole record, whatever stops the writing."""

from __future__ import annotations

import errno
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from sensorswim.formats.radio_log import RADIO_FOLDER, SUFFIX, RecordKind, read_segment
from sensorswim.live.store import SegmentWriter

WRITE = """
import sys
from pathlib import Path
from sensorswim.live.store import SegmentWriter
writer = SegmentWriter(Path(sys.argv[1]), 1, 2, segment_bytes=20_000)
number = 0
while True:
    writer.packet(number.to_bytes(4, "little") * 40, number)
    if number % 8 == 0:
        writer.sync()
        print(number, flush=True)
    number += 1
"""


def segments(folder: Path) -> list[Path]:
    return sorted((folder / RADIO_FOLDER).glob(f"*{SUFFIX}"))


def packets(folder: Path) -> list[bytes]:
    records = [r for path in segments(folder) for r in read_segment(path).records]
    return [r.payload for r in records if r.kind is RecordKind.PACKET]


def test_a_file_cut_or_changed_at_any_byte_is_read_up_to_there(tmp_path: Path) -> None:
    writer = SegmentWriter(tmp_path, 1, 2)
    sent = [bytes([n]) * n for n in range(1, 9)]
    for payload in sent:
        writer.packet(payload, 5)
    writer.close()
    path = segments(tmp_path)[0]
    whole = path.read_bytes()
    for at in range(len(whole)):
        path.write_bytes(whole[:at])
        assert packets(tmp_path) == sent[: len(packets(tmp_path))]
        path.write_bytes(whole[:at] + bytes([whole[at] ^ 0x40]) + whole[at + 1 :])
        got = packets(tmp_path)
        assert got == sent[: len(got)]
        assert len(got) < len(sent)


def test_kill_9_at_any_moment_leaves_everything_that_was_synced(tmp_path: Path) -> None:
    for run in range(3):
        folder = tmp_path / str(run)
        child = subprocess.Popen([sys.executable, "-c", WRITE, str(folder)], stdout=subprocess.PIPE)
        assert child.stdout is not None
        first = child.stdout.readline()
        time.sleep(random.uniform(0.0, 0.15))
        child.send_signal(signal.SIGKILL)
        told = [first, *child.stdout.read().splitlines()]
        child.wait()
        child.stdout.close()
        got = packets(folder)
        assert len(got) > int(told[-1] or told[-2])
        assert got == [n.to_bytes(4, "little") * 40 for n in range(len(got))]


def test_what_a_full_disk_refuses_waits_and_is_written_later(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    writer = SegmentWriter(tmp_path, 1, 2)
    writer.packet(b"before", 1)
    real, room = os.write, [10]

    def nearly_full(file: int, data: bytes) -> int:
        if room[0] == 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        written = real(file, data[: room[0]])
        room[0] -= written
        return written

    with monkeypatch.context() as patch:
        patch.setattr("sensorswim.live.store.os.write", nearly_full)
        writer.packet(b"one", 2)
        writer.packet(b"two", 3)
        assert writer.waiting == 2
        assert "space" in writer.problem
        assert packets(tmp_path) == [b"before"]
    writer.sync()
    assert (writer.waiting, writer.problem) == (0, "")
    writer.close()
    assert packets(tmp_path) == [b"before", b"one", b"two"]
    assert all(read_segment(path).torn_bytes == 0 for path in segments(tmp_path))


def test_a_new_run_never_appends_to_an_old_segment_and_notes_come_along(tmp_path: Path) -> None:
    for run in range(2):
        writer = SegmentWriter(tmp_path, 1, 2, segment_bytes=200)
        writer.note({"name": f"run {run}"}, 1)
        for _ in range(4):
            writer.packet(b"x" * 100, 2)
        writer.close()
    paths = segments(tmp_path)
    assert len(paths) == 4
    notes = [read_segment(path).records[0] for path in paths]
    assert [note.kind for note in notes] == [RecordKind.NOTE] * 4
    assert sum(b"run 1" in note.payload for note in notes) == 2


LIMITED = """
import resource, sys
from pathlib import Path
from sensorswim.live.store import SegmentWriter
hard = resource.getrlimit(resource.RLIMIT_FSIZE)[1]
writer = SegmentWriter(Path(sys.argv[1]), 1, 2)
resource.setrlimit(resource.RLIMIT_FSIZE, (5_000, hard))
for number in range(100):
    writer.packet(number.to_bytes(4, "little") * 40, number)
print(writer.waiting, writer.problem)
resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
writer.close()
print(writer.waiting, writer.problem)
"""


def test_a_file_that_may_not_grow_is_gone_on_with_when_it_may(tmp_path: Path) -> None:
    said = subprocess.run(
        [sys.executable, "-c", LIMITED, str(tmp_path)], capture_output=True, text=True, check=True
    ).stdout.splitlines()
    assert 50 < int(said[0].split()[0]) < 100
    assert "large" in said[0]
    assert said[1].strip() == "0"
    assert packets(tmp_path) == [n.to_bytes(4, "little") * 40 for n in range(100)]
    assert all(read_segment(path).torn_bytes == 0 for path in segments(tmp_path))


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """Mount a disk of 64 kB, which only root may."""
    mount, place = shutil.which("mount"), tmp_path / "disk"
    if mount is None:
        pytest.skip("there is no mount")
    place.mkdir()
    options = ["-t", "tmpfs", "-o", "size=64k", "tmpfs", str(place)]
    made = subprocess.run([mount, *options], capture_output=True, text=True, check=False)
    if made.returncode:
        pytest.skip(f"no small disk can be mounted: {made.stderr.strip()}")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def test_a_disk_that_is_really_full_loses_nothing(small_disk: Path) -> None:
    other = small_disk / "other"
    other.write_bytes(b"x" * 40_000)
    writer = SegmentWriter(small_disk, 1, 2)
    sent = [n.to_bytes(4, "little") * 250 for n in range(40)]
    for payload in sent:
        writer.packet(payload, 5)
    kept = packets(small_disk)
    assert kept == sent[: len(kept)]
    assert 0 < writer.waiting == len(sent) - len(kept)
    assert "space" in writer.problem
    other.unlink()
    writer.sync()
    assert (writer.waiting, writer.problem) == (0, "")
    writer.close()
    assert packets(small_disk) == sent
