"""A rolling analysis that is given a recording's packets little by little."""

from __future__ import annotations

from pathlib import Path

from sensorswim.formats.radio_log import Scale, read_radio
from sensorswim.formats.radio_packets import SamplePacket, decode_samples
from sensorswim.formats.session_toml import read_session
from sensorswim.live.buffer import LiveBuffer
from sensorswim.live.build import offset_ticks
from sensorswim.live.rolling import RollingAnalysis
from sensorswim.model import Placement, Quality


class Growing:
    """A recorded session whose packets haven't come yet.

    Parameters
    ----------
    folder : Path
        A finished session folder.
    """

    def __init__(self, folder: Path) -> None:
        session = read_session(folder, Quality())
        logs = {log.serial: log for log in read_radio(folder)}
        first = next(x for x in logs.values() if x.placement == session.sensors[0].placement)
        self.rolling = RollingAnalysis(session)
        self.buffers: dict[int, LiveBuffer] = {}
        self._packets: dict[int, list[SamplePacket]] = {}
        for serial, log in logs.items():
            scale = Scale.of(log.facts | {"offset_ticks": offset_ticks(log.facts, first.facts)})
            assert log.placement is not None
            self.buffers[serial] = LiveBuffer(log.placement, scale)
            self.rolling.add(self.buffers[serial])
            self._packets[serial] = [decode_samples(log.packets[n]) for n in sorted(log.packets)]

    def give(self, serial: int, packet: SamplePacket) -> float:
        """Let a packet come; return the session time of its first sample."""
        moment_s = self.buffers[serial].take(packet)
        self.rolling.noticed(moment_s)
        return moment_s

    def give_until(self, until_s: float, *places: Placement) -> None:
        """Let all packets up to a session time come, of all sensors or of some."""
        for serial, buffer in self.buffers.items():
            waiting = self._packets[serial]
            while waiting and not (places and buffer.placement not in places):
                if self.buffers[serial].newest_s >= until_s:
                    break
                self.give(serial, waiting.pop(0))
