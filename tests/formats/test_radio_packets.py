"""Radio packets: the document's example bytes, in Python and in C, and what damage does."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections import Counter
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sensorswim.errors import PacketError
from sensorswim.formats import radio_control as control
from sensorswim.formats import radio_packets as packets
from tests.formats.packet_vectors import NOTES, Vector, vectors

VECTORS = vectors()
DECODE: dict[str, Callable[[bytes], Any]] = {
    "samples": packets.decode_samples,
    "piece": packets.decode_piece,
    "range_end": packets.decode_range_end,
    "state": control.decode_state,
    "command": control.decode_command,
    "answer": control.decode_answer,
}
ENCODE: dict[str, Callable[[Any], bytes]] = {
    "samples": packets.encode_samples,
    "range_end": packets.encode_range_end,
    "state": control.encode_state,
    "command": control.encode_command,
    "answer": control.encode_answer,
}


def told(packet: Any) -> dict[str, str]:
    """Return a packet's fields as the document writes them."""
    assert is_dataclass(packet)
    rows: dict[str, Any] = {f.name: getattr(packet, f.name) for f in fields(packet)}
    if "counts" in rows:
        rows["counts"] = " ".join(str(int(v)) for v in rows["counts"].ravel())
    if "values" in rows:
        rows["values"] = " ".join(map(str, rows["values"])) or "-"
    if "temperature_c" in rows:
        rows["temperature_centi_c"] = round(100 * rows.pop("temperature_c"))
        rows["label"] = control.LABELS.index(rows["label"])
    if "data" in rows:
        rows["data"] = rows["data"].hex()
    return {key: v if isinstance(v, str) else str(int(v)) for key, v in rows.items()}


def test_the_document_has_good_and_bad_examples_of_every_kind() -> None:
    good = Counter(v.kind for v in VECTORS if v.refused is None)
    bad = Counter(v.kind for v in VECTORS if v.refused)
    assert set(good) == set(bad) == set(DECODE)
    assert {v.refused for v in VECTORS if v.refused} == {
        "short", "version", "kind", "checksum", "length", "value",
    }  # fmt: skip


@pytest.mark.parametrize("vector", [v for v in VECTORS if v.refused is None], ids=lambda v: v.name)
def test_an_example_reads_to_its_values_and_back(vector: Vector) -> None:
    packet = DECODE[vector.kind](vector.data)
    assert told(packet) == vector.fields
    if vector.kind != "piece":
        future = vector.kind == "command" and packet.order not in control.ARGUMENTS
        assert future or ENCODE[vector.kind](packet) == vector.data


@pytest.mark.parametrize("vector", [v for v in VECTORS if v.refused], ids=lambda v: v.name)
def test_a_bad_example_is_refused_for_its_reason(vector: Vector) -> None:
    with pytest.raises(PacketError) as caught:
        DECODE[vector.kind](vector.data)
    assert caught.value.reason == vector.refused


def test_the_examples_pieces_join_to_the_one_sample_packet() -> None:
    joiner = packets.Joiner()
    parts = [v.data for v in VECTORS if v.kind == "piece" and v.refused is None]
    whole = [packet for part in parts if (packet := joiner.feed(part)) is not None]
    assert whole == [VECTORS[0].data]
    assert packets.cut(VECTORS[0].data, 515) == parts


def test_a_missing_piece_loses_that_packet_only() -> None:
    one, two = VECTORS[1].data, VECTORS[2].data
    sent = [*packets.cut(one, 1), *packets.cut(two, 2)]
    for gone in range(len(sent)):
        joiner = packets.Joiner()
        got = [p for i, part in enumerate(sent) if i != gone and (p := joiner.feed(part))]
        assert got == [two] if gone < len(packets.cut(one, 1)) else got == [one]


@st.composite
def sample_packets(draw: st.DrawFn) -> packets.SamplePacket:
    count = draw(st.integers(1, 13))
    values = draw(st.lists(st.integers(-32768, 32767), min_size=6 * count, max_size=6 * count))
    return packets.SamplePacket(
        log=draw(st.integers(0, 65535)),
        number=draw(st.integers(0, 2**32 - 1)),
        first_ticks=draw(st.integers(0, 2**32 - 1)),
        span_ticks=0 if count == 1 else draw(st.integers(1, 65535)),
        counts=np.array(values, dtype=np.int16).reshape(-1, 6),
        flags=packets.SampleFlag(draw(st.integers(0, 7))),
    )


@given(sample_packets(), st.data())
def test_any_packet_survives_the_way_and_any_turned_bit_is_seen(
    packet: packets.SamplePacket, data: st.DataObject
) -> None:
    sent = packets.encode_samples(packet)
    assert len(sent) == 20 + 12 * len(packet.counts) <= 180
    assert told(packets.decode_samples(sent)) == told(packet)
    bit = data.draw(st.integers(0, 8 * len(sent) - 1))
    hurt = bytearray(sent)
    hurt[bit // 8] ^= 1 << bit % 8
    with pytest.raises(PacketError):
        packets.decode_samples(bytes(hurt))


@pytest.fixture(scope="module")
def reference(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Compile the C reference with all warnings as errors and with the sanitizers."""
    if shutil.which("gcc") is None:
        if os.environ.get("CI") == "true":
            pytest.fail("there is no gcc: apt-get install gcc libc6-dev")
        pytest.skip("there is no gcc: apt-get install gcc libc6-dev")
    program = tmp_path_factory.mktemp("c") / "packets"
    sources = [NOTES / "c/sensorswim_packets.c", Path(__file__).with_name("packets_main.c")]
    flags = "-std=c99 -pedantic -Wall -Wextra -Werror -O1 -g -fsanitize=address,undefined"
    command = ["gcc", *flags.split(), "-fno-sanitize-recover=all", f"-I{NOTES / 'c'}"]
    done = subprocess.run(
        [*command, *map(str, sources), "-o", str(program)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return program


def run_reference(program: Path, lines: list[tuple[str, bytes]]) -> list[dict[str, str]]:
    text = "".join(f"{kind} {data.hex() or '-'}\n" for kind, data in lines)
    done = subprocess.run([program], input=text, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    answers = done.stdout.splitlines()
    assert len(answers) == len(lines)
    return [dict(part.split("=", 1) for part in line.split(" ")) for line in answers]


def test_the_c_reference_passes_every_example(reference: Path) -> None:
    answers = run_reference(reference, [(v.kind, v.data) for v in VECTORS])
    for vector, answer in zip(VECTORS, answers, strict=True):
        if vector.refused:
            assert answer == {"refused": vector.refused}, vector.name
            continue
        back = answer.pop("bytes")
        future = vector.fields.get("order") == "99"
        assert future or bytes.fromhex(back) == vector.data
        listed = {key: value.replace(",", " ") or "-" for key, value in answer.items()}
        assert listed == vector.fields


def verdict(kind: str, data: bytes) -> str:
    try:
        DECODE[kind](data)
    except PacketError as refusal:
        return refusal.reason
    return "good"


def damaged(rng: np.random.Generator, vector: Vector) -> bytes:
    """Return a packet cut, lengthened or changed; half of them sealed anew, so that it counts."""
    data = bytearray(vector.data)
    for _ in range(rng.integers(0, 4)):
        if data:
            data[rng.integers(len(data))] = rng.integers(256)
    data = data[: rng.integers(len(data) + 1)] if rng.random() < 0.3 else data
    data += rng.bytes(rng.integers(8)) if rng.random() < 0.3 else b""
    sealable = vector.kind != "piece" and len(data) > 4 and rng.random() < 0.5
    return packets.seal(bytes(data[:-4])) if sealable else bytes(data)


def test_python_and_c_agree_on_damaged_packets(reference: Path) -> None:
    rng = np.random.default_rng(5)
    picked = [VECTORS[i] for i in rng.integers(len(VECTORS), size=4000)]
    lines = [(v.kind, damaged(rng, v)) for v in picked]
    answers = run_reference(reference, lines)
    seen = Counter()
    for (kind, data), answer in zip(lines, answers, strict=True):
        expected = verdict(kind, data)
        assert answer.get("refused", "good") == expected, (kind, data.hex())
        seen[expected] += 1
    assert min(seen[w] for w in ("good", "short", "checksum", "length", "value")) > 20
