"""Nothing but the sessions given can be read or written, whatever the browser asks for."""

from __future__ import annotations

import shutil
import zipfile
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from sensorswim.dashboards.review import Shelf, key_of, review_app
from sensorswim.errors import InputError
from sensorswim.formats.session_pack import safe_relative, unpack
from tests.video.made_clips import write_clip

SAMPLE = Path(__file__).resolve().parents[2] / "sample_logs" / "mira"
SECRET = "not for the browser"


@pytest.fixture
def session(tmp_path: Path) -> Path:
    folder = tmp_path / "given" / "mira"
    shutil.copytree(SAMPLE, folder)
    (tmp_path / "secret.webm").write_text(SECRET)
    return folder


@pytest.fixture
def client(session: Path, tmp_path: Path) -> TestClient:
    shelf = Shelf(folders=(session.parent,), home=tmp_path / "home", cache=tmp_path / "cache")
    return TestClient(review_app(shelf).server, base_url="http://127.0.0.1")


def with_video(session: Path, name: str) -> None:
    path = session / "session.toml"
    path.write_text(f'{path.read_text()}\n[[video]]\nfile = "{name}"\n')


def film(path: Path) -> None:
    write_clip(path, [i / 30 for i in range(10)])


def test_a_clip_is_served_in_the_parts_asked_for(client: TestClient, session: Path) -> None:
    film(session / "side.mp4")
    with_video(session, "side.mp4")
    whole = (session / "side.mp4").read_bytes()
    address = f"/media/{key_of(session)}/0"
    part = client.get(address, headers={"range": "bytes=10-19"})
    assert part.status_code == 206
    assert part.content == whole[10:20]
    assert client.get(address).content == whole
    beyond = client.get(address, headers={"range": f"bytes={len(whole) + 5}-"})
    assert beyond.status_code == 416


@pytest.mark.parametrize(
    "address",
    [
        "/media/{key}/../../secret.webm",
        "/media/{key}/..%2f..%2fsecret.webm",
        "/media/..%2f..%2f/0",
        "/media/{key}/1",
        "/media/{key}/-1",
        "/media/0123456789abcdef/0",
        "/static/own/..%2f..%2f..%2fpyproject.toml",
        "/static/shared/../../../pyproject.toml",
    ],
)
def test_no_address_leads_out_of_the_folders_given(
    client: TestClient, session: Path, address: str
) -> None:
    film(session / "side.mp4")
    with_video(session, "side.mp4")
    answer = client.get(address.format(key=key_of(session)))
    assert SECRET not in answer.text
    assert "[project]" not in answer.text
    assert not answer.headers["content-type"].startswith("video/")


@pytest.mark.parametrize("name", ["../../secret.webm", "/etc/hostname", "link.webm"])
def test_no_session_toml_leads_out_of_its_folder(
    client: TestClient, session: Path, tmp_path: Path, name: str
) -> None:
    (session / "link.webm").symlink_to(tmp_path / "secret.webm")
    with_video(session, name)
    answer = client.get(f"/media/{key_of(session)}/0")
    assert answer.status_code == 404
    assert SECRET not in answer.text


@pytest.mark.parametrize(
    "name",
    ["../evil.csv", "/tmp/evil.csv", "a/../../evil.csv", ".hidden", "C:evil.csv", "", "a\0b"],
)
def test_names_that_lead_elsewhere_are_refused(client: TestClient, name: str) -> None:
    with pytest.raises(InputError):
        safe_relative(name)
    token = client.post("/drop").json()["token"]
    answer = client.put(f"/drop/{token}/file", params={"name": name}, content=b"x")
    assert answer.status_code == 400


def test_a_drop_token_is_no_path(client: TestClient) -> None:
    for token in ("..%2f..", "0" * 32, "."):
        answer = client.put(f"/drop/{token}/file?name=a.csv", content=b"x")
        assert answer.status_code in (400, 404, 405)


def test_a_zip_that_leads_elsewhere_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "evil.zip"
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr("../evil.csv", "x")
    inside = tmp_path / "inside"
    inside.mkdir()
    with pytest.raises(InputError, match="can't be taken in"):
        unpack(path, inside)
    assert not (tmp_path / "evil.csv").exists()


def test_what_is_no_zip_is_told(tmp_path: Path) -> None:
    (tmp_path / "a.zip").write_bytes(b"PK nothing")
    with pytest.raises(InputError, match="can't be unpacked"):
        unpack(tmp_path / "a.zip", tmp_path)


def test_a_session_dropped_as_a_zip_is_on_the_shelf(client: TestClient, tmp_path: Path) -> None:
    packed = tmp_path / "mira.zip"
    own = [path for path in SAMPLE.iterdir() if path.is_file()]
    with zipfile.ZipFile(packed, "w") as archive:
        for path in own:
            archive.write(path, f"visit/{path.name}")
    token = client.post("/drop").json()["token"]
    client.put(f"/drop/{token}/file?name=mira.zip", content=packed.read_bytes())
    answer = client.post(f"/drop/{token}/done").json()
    home = tmp_path / "home" / "sessions" / "visit"
    assert answer == {"session": key_of(home)}
    assert {p.name for p in home.iterdir()} == {p.name for p in own}


def test_a_clip_is_added_once_and_only_as_a_clip(client: TestClient, session: Path) -> None:
    film(session.parent / "a.mp4")
    content = (session.parent / "a.mp4").read_bytes()
    address = f"/clips/{key_of(session)}"
    assert client.put(f"{address}?name=side.mp4", content=content).status_code == 200
    assert 'file = "side.mp4"' in (session / "session.toml").read_text()
    assert client.put(f"{address}?name=side.mp4", content=content).status_code == 400
    assert client.put(f"{address}?name=session.toml", content=b"x").status_code == 400
    assert client.put(f"{address}?name=bad.mp4", content=b"no film").status_code == 400
    assert not (session / "bad.mp4").exists()


def test_the_shelf_offers_the_invented_samples(tmp_path: Path) -> None:
    shelf = Shelf(folders=(), home=tmp_path / "home", cache=tmp_path / "cache")
    samples = {key_of(place.parent) for place in SAMPLE.parent.glob("*/session.toml")}
    assert len(samples) == 4
    assert {entry.key for entry in shelf.entries()} == samples
    assert shelf.sample() == key_of(SAMPLE)


def test_a_stretch_that_is_none_and_a_session_that_is_not_there_are_refused(
    client: TestClient, session: Path
) -> None:
    about = {"turn": "one", "scheme": "light"}
    for start, end in (("5", "5"), ("9", "2"), ("nan", "3"), ("0", "inf"), ("a", "3")):
        asked = about | {"start_s": start, "end_s": end}
        assert client.get(f"/axis/{key_of(session)}", params=asked).status_code in (400, 422)
    asked = about | {"start_s": "1", "end_s": "9"}
    assert client.get("/axis/0123456789abcdef", params=asked).status_code == 404


def test_a_page_is_given_to_this_site_alone_and_a_session_that_is_not_there_is_told(
    client: TestClient,
) -> None:
    asked = {"pathname": "/review", "search": "?session=0123456789abcdef", "scheme": "light"}
    assert "This can't be opened" in client.post("/page", json=asked).text
    assert client.post("/page", json=asked | {"scheme": "red"}).status_code == 422
    strange = {"origin": "http://evil.example"}
    assert client.post("/page", json=asked, headers=strange).status_code == 403
