"""What README and notes say is so: commands, links, examples, figures, the citation."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest
import typer

from sensorswim import __version__
from sensorswim.cli.app import app
from sensorswim.formats.session_schema import SessionTable
from sensorswim.formats.settings_toml import read_settings
from sensorswim.model import Settings

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text("utf-8")
PAGES = sorted(
    [ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "firmware_notes").glob("*.md")]
)


def blocks(language: str, section: str = "") -> list[str]:
    """Return the fenced blocks of a language, of one section or of the whole README."""
    text = README.split(f"\n## {section}\n", 1)[1].split("\n## ", 1)[0] if section else README
    return re.findall(rf"^```{language}\n(.*?)^```$", text, flags=re.MULTILINE | re.DOTALL)


def links(text: str) -> list[str]:
    """Return where the links and images lead that stay within the repository."""
    return [to for to in re.findall(r"\]\(([^)\s]+)\)", text) if "://" not in to and to[0] != "#"]


def commands_named(text: str) -> set[tuple[str, ...]]:
    """Return what code in the text asks of the command line: command, and what may follow it."""
    code = re.findall(r"^```sh\n(.*?)^```$", text, flags=re.MULTILINE | re.DOTALL)
    code += re.findall(r"^ {4}(\S.*)$", text, flags=re.MULTILINE)
    code += re.findall(r"`([^`]+)`", re.sub(r"^```.*?^```$", "", text, flags=re.M | re.S))
    named = r"(?:^|[\s/])sensorswim\s+([a-z]\w*)(?:\s+([a-z]\w*))?"
    return {pair for one in code for pair in re.findall(named, one)}


def is_command(command: str, rest: str) -> bool:
    known = typer.main.get_command(app).commands
    sub = getattr(known.get(command), "commands", None)
    return command in known and (sub is None or rest in sub)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_every_link_and_image_leads_somewhere(page: Path) -> None:
    gone = [to for to in links(page.read_text("utf-8")) if not (page.parent / to).exists()]
    assert gone == []


def test_links_are_found_at_all() -> None:
    assert {"sample_logs/report.png", "firmware_notes/wearing_card.svg"} <= set(links(README))


def test_every_command_named_exists() -> None:
    named = commands_named(README)
    assert {("analyse", "sample_logs"), ("bids", "export"), ("codebook", "")} <= named
    assert [pair for pair in named if not is_command(*pair)] == []


def test_a_command_that_does_not_exist_is_seen() -> None:
    named = commands_named("Type `sensorswim\nfly`, or:\n\n    sensorswim archive burn\n")
    assert named == {("fly", ""), ("archive", "burn")}
    assert not any(is_command(*pair) for pair in named)


def test_the_python_example_prints_what_is_shown() -> None:
    (code,), (shown,) = blocks("python", "In Python"), blocks("text", "In Python")
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout == shown


def test_the_session_and_settings_examples_are_read_as_they_stand(tmp_path: Path) -> None:
    session, more, settings = blocks("toml", "Your own session")
    table = SessionTable.model_validate(tomllib.loads(f"{session}\n{more}"))
    tables = [table, *table.sensor, *table.block, *table.video, *table.video[0].mark]
    assert {key for one in tables for key in one.unknown} == {"felt_kick_beat"}
    (tmp_path / "sensorswim.toml").write_text(settings, encoding="utf-8")
    assert read_settings(tmp_path) == Settings()


def test_a_synthetic_limb_turns_as_fast_as_is_told() -> None:
    told = re.search(r"stay under (\d+) deg/s .* wrists and under (\d+) on the ankles", README)
    assert told is not None
    for limb, said in zip(("wrist", "ankle"), told.groups(), strict=True):
        shares = []
        for log in sorted((ROOT / "sample_logs").glob(f"*/*_{limb}.parquet")):
            rates = pd.read_parquet(log).filter(like="gyro_").abs().max(axis=1)
            shares.append(float(np.quantile(rates, 0.999)))
            print(f"{log.parent.name} {log.stem}: 99.9 % under {shares[-1]:.0f} deg/s, "
                  f"largest {rates.max():.0f}")  # fmt: skip
        assert int(said) - 10 < max(shares) < int(said)


def test_the_card_can_be_read_and_is_told_to_those_who_cannot_see_it() -> None:
    root = ElementTree.parse(ROOT / "firmware_notes" / "wearing_card.svg").getroot()
    space = "{http://www.w3.org/2000/svg}"
    told = {name: root.findtext(space + name) or "" for name in ("title", "desc")}
    assert all(told.values())
    assert "Never swim alone" in told["desc"]
    least = 17 / 1000 * float(root.attrib["viewBox"].split()[2])
    sizes = [float(one.attrib["font-size"]) for one in root.iter() if "font-size" in one.attrib]
    assert "font-size" in root.attrib
    assert min(sizes) >= least


def test_the_citation_says_what_the_package_says() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    (entry,) = blocks("bibtex", "Citing")
    fields = dict(re.findall(r"^ +(\w+) += \{+(.*?)\}+,?$", entry, flags=re.MULTILINE))
    assert fields["version"] == project["version"] == __version__
    assert f"version {__version__}." in README.split("## Citing", 1)[1]
    assert fields["author"] == project["authors"][0]["name"]
    assert fields["license"] == project["license"]
    assert fields["abstract"] == project["description"]
    assert fields["keywords"].split(", ") == project["keywords"]
    assert fields["title"].split(": ")[0] == project["name"]
