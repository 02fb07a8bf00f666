"""A squad at a glance, and the same in words on the command line."""

from __future__ import annotations

import math
from datetime import timedelta
from pathlib import Path

import pytest

from sensorswim.archive import Who, put
from sensorswim.archive.squad import LONG_AGO_DAYS, squad_view, worthwhile_changes
from sensorswim.archive.store import Store, open_store
from sensorswim.cli import main
from tests.archive.made import FIRST, made

STEADY = "4 x 25 steady · front crawl · 25 m pool"


def filled(store: Store) -> None:
    for number in range(1, 5):
        put(store, made(number, swimmer="Mira", shift=4.0 * number, squad="blue"))
        put(store, made(number, swimmer="Noor", squad="blue"))
    put(store, made(1, swimmer="Tove", squad="red"))


def test_who_changed_comes_first_with_the_reason(store: Store) -> None:
    filled(store)
    now = FIRST + timedelta(weeks=5)
    looks = squad_view(store, Who(squad="blue"), now=now)
    assert [look.swimmer.name for look in looks] == ["Mira", "Noor"]
    assert any(r.startswith("stroke rate: clear change: +12.0") for r in looks[0].reasons)
    assert looks[1].reasons == ()
    assert looks[0].sessions == 4


def test_who_was_not_measured_for_long_is_said(store: Store) -> None:
    filled(store)
    now = FIRST + timedelta(weeks=4, days=LONG_AGO_DAYS + 1)
    noor = next(s for s in squad_view(store, now=now) if s.swimmer.name == "Noor")
    assert noor.reasons == (f"not measured for {LONG_AGO_DAYS + 1} days",)


def test_the_smallest_worthwhile_change_needs_three_swimmers(store: Store) -> None:
    filled(store)
    assert math.isnan(worthwhile_changes(store, STEADY, Who(squad="blue"))["speed_m_s"])
    put(store, made(2, swimmer="Tove", shift=3.0, squad="red"))
    found = worthwhile_changes(store, STEADY)["stroke_rate_cycles_min"]
    assert found == pytest.approx(0.2 * math.sqrt(((16 - 19 / 3) ** 2 + (19 / 3) ** 2
                                                   + (3 - 19 / 3) ** 2) / 2))  # fmt: skip


def test_the_command_line_says_it_in_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    place = str(tmp_path / "a.sqlite")
    monkeypatch.setenv("SENSORSWIM_ARCHIVE", place)
    assert main(["squad"]) == 0
    assert "Nobody yet" in capsys.readouterr().out
    store = open_store(place)
    filled(store)
    store.close()
    assert main(["squad", "--squad", "blue"]) == 0
    assert "Mira: 4 sessions, the last on 2026-04-11" in capsys.readouterr().out
    assert main(["trends", "mira", "--set", "steady"]) == 0
    told = capsys.readouterr().out
    assert "since the first visit:      clear change: +12.0 cycles a minute" in told
    assert "cautious guess" in told
    assert main(["trends", "mira", "--figure", "luck"]) == 2
    assert "there is no figure 'luck'" in capsys.readouterr().err
    assert main(["trends", "mira", "--set", "400"]) == 2
    assert "no set of Mira fits" in capsys.readouterr().err
    assert main(["trends", "tove"]) == 0
    assert "a change needs two visits" in capsys.readouterr().out
