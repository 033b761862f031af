"""Stored files: what is taken, where it is kept, how it is sent."""

import hashlib
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image

from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Upload
from app.platform.media import LargeUpload, MediaStore, Stored, copy_media, plain_name, video_type
from app.platform.settings import Settings
from app.procedures import queries
from app.procedures.actions.media import note_media, store_picture, store_video
from app.procedures.models import MediaKind
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]
MP4 = b"\x00\x00\x00\x18ftypisom\x00\x00\x02\x00isomiso2" + bytes(range(256)) * 40
WEBM = b"\x1a\x45\xdf\xa3\x9fB\x86\x81\x01B\xf7\x81\x01B\xf2\x81\x04B\xf3\x81\x08B\x82\x84webmB\x87\x81\x04" + bytes(
    400
)


def _keep(db: Database, settings: Settings, name: str = "strip-down.mp4", body: bytes = MP4) -> Stored:
    stored, content_type = store_video(settings, LargeUpload(name, BytesIO(body), len(body)))
    with db.write() as session:
        note_media(session, stored, MediaKind.VIDEO, content_type, name, at=clock.now(), who=None)
    return stored


def test_a_recording_is_known_by_its_bytes_and_not_by_its_name() -> None:
    """Brands and document types after ISO/IEC 14496-12, RFC 8794 and the QuickTime file format, from memory."""
    assert video_type(MP4[:4096]) == "video/mp4"
    assert video_type(WEBM[:4096]) == "video/webm"
    assert video_type(b"\x00\x00\x00\x14ftypqt  \x00\x00\x00\x00qt  ") == "video/quicktime"
    assert video_type(b"\x00\x00\x00\x08wide\x00\x00\x10\x00mdat") == "video/quicktime"
    for body in (
        b"", b"MZ\x90\x00", b"%PDF-1.7", b"<html><script>", b"\x00\x00\x00\x18ftypheic", b"\x00\x00\x00\x18ftypM4A ",
        WEBM.replace(b"B\x82\x84webm", b"B\x82\x88matroska"), b"\x89PNG\r\n\x1a\n",
    ):  # fmt: skip
        with pytest.raises(Refused, match="MP4, WebM or QuickTime"):
            video_type(body)


def test_the_same_content_is_one_file_and_one_row_whoever_sends_it(db: Database, settings: Settings) -> None:
    first, again = _keep(db, settings), _keep(db, settings, "another name.mp4")
    assert first == again == Stored(hashlib.sha256(MP4).hexdigest(), len(MP4))
    store = MediaStore(settings.media_folder)
    assert [path.name for path in store.files()] == [first.sha256]
    assert not list((settings.media_folder / "incoming").iterdir())
    with db.read() as session:
        assert queries.media(session, first.sha256).name == "strip-down.mp4"


def test_a_file_that_is_too_large_leaves_nothing_behind(settings: Settings, tmp_path: Path) -> None:
    store = MediaStore(tmp_path / "media")
    with pytest.raises(Refused, match="Too large"):
        store.keep([b"x" * 600, b"x" * 600], 1000, "Too large.")
    assert not list(store.files())
    assert not list((store.folder / "incoming").iterdir())


@pytest.mark.parametrize(
    ("sent", "kept"),
    [
        ("../../etc/passwd", "passwd"),
        ("C:\\films\\strip down.mp4", "strip down.mp4"),
        ("evil\u202egpj.mp4\x00\n", "evilgpj.mp4"),
        ("...", "file"),
        ("", "file"),
        ("a" * 300 + ".webm", "a" * 115 + ".webm"),
        ('déjà vu <b>"x"</b>.vtt', "b>.vtt"),
    ],
)
def test_hostile_file_names_become_harmless(sent: str, kept: str) -> None:
    assert plain_name(sent) == kept


def test_a_stored_file_is_sent_whole_in_ranges_and_not_again(db: Database, settings: Settings, visit: Visit) -> None:
    """Range requests after RFC 9110, 14: one range, an open end, a suffix, and one that cannot be had."""
    stored = _keep(db, settings, "../Ausbau Gerät.mp4")
    client, address = visit("technician").client, f"/media/{stored.sha256}"
    whole = client.get(address)
    assert (whole.status_code, whole.content, whole.headers["content-type"]) == (200, MP4, "video/mp4")
    assert whole.headers["accept-ranges"] == "bytes"
    assert whole.headers["etag"] == f'"{stored.sha256}"'
    assert "immutable" in whole.headers["cache-control"]
    assert whole.headers["x-content-type-options"] == "nosniff"
    assert "sandbox" in whole.headers["content-security-policy"]
    assert whole.headers["content-disposition"] == "inline; filename*=utf-8''Ausbau%20Ger%C3%A4t.mp4"
    for asked, body, told in (
        ("bytes=0-3", MP4[:4], f"bytes 0-3/{len(MP4)}"),
        ("bytes=10000-", MP4[10000:], f"bytes 10000-{len(MP4) - 1}/{len(MP4)}"),
        ("bytes=-5", MP4[-5:], f"bytes {len(MP4) - 5}-{len(MP4) - 1}/{len(MP4)}"),
    ):
        part = client.get(address, headers={"range": asked, "accept-encoding": "gzip"})
        assert (part.status_code, part.content, part.headers["content-range"]) == (206, body, told)
        assert "content-encoding" not in part.headers
    beyond = client.get(address, headers={"range": f"bytes={len(MP4)}-"})
    assert (beyond.status_code, beyond.headers["content-range"]) == (416, f"bytes */{len(MP4)}")
    stale = client.get(address, headers={"range": "bytes=0-3", "if-range": '"another"'})
    assert (stale.status_code, len(stale.content)) == (200, len(MP4))
    fresh = client.get(address, headers={"if-none-match": whole.headers["etag"]})
    assert (fresh.status_code, fresh.content) == (304, b"")
    head = client.head(address)
    assert (head.status_code, head.content, head.headers["content-length"]) == (200, b"", str(len(MP4)))


def test_only_people_who_are_signed_in_see_a_stored_file(db: Database, settings: Settings, visit: Visit) -> None:
    stored = _keep(db, settings)
    stranger = Visitor(visit("stores").client.app)  # type: ignore[arg-type]
    answer = stranger.client.get(f"/media/{stored.sha256}", follow_redirects=False)
    assert answer.headers.get("location", "").startswith("/sign-in")
    clerk = visit("stores").client
    assert clerk.get(f"/media/{stored.sha256}").status_code == 200
    assert clerk.get(f"/media/{'0' * 64}").status_code == 404
    assert clerk.get("/media/..%2f..%2fcountback.db").status_code in (404, 422)
    MediaStore(settings.media_folder).path(stored.sha256).unlink()
    assert clerk.get(f"/media/{stored.sha256}").status_code == 404


def test_a_picture_is_kept_as_nothing_but_the_picture(db: Database, settings: Settings) -> None:
    image = Image.new("RGB", (40, 30), "teal")
    exif = Image.Exif()
    exif[0x010E] = "where it was taken"
    out = BytesIO()
    image.save(out, "JPEG", exif=exif)
    stored, picture = store_picture(settings, Upload("here.jpg", "image/jpeg", out.getvalue()))
    body = MediaStore(settings.media_folder).path(stored.sha256).read_bytes()
    assert b"where it was taken" not in body
    assert Image.open(BytesIO(body)).size == (picture.width, picture.height) == (40, 30)
    with pytest.raises(Refused, match="not a photo"):
        store_picture(settings, Upload("here.jpg", "image/jpeg", MP4))
    with pytest.raises(Refused, match="larger than 1 MB"):
        store_picture(settings.model_copy(update={"picture_mb": 1}), Upload("x.png", "image/png", b"x" * 1_000_001))


def test_the_check_tells_of_files_that_are_missing_or_changed(db: Database, settings: Settings) -> None:
    store = MediaStore(settings.media_folder)
    first, second = _keep(db, settings), _keep(db, settings, "b.webm", WEBM)
    with db.read() as session:
        assert queries.media_faults(session, store) == ()
    store.path(first.sha256).unlink()
    store.path(second.sha256).write_bytes(b"short")
    with db.read() as session:
        faults = queries.media_faults(session, store)
    assert len(faults) == 2
    assert first.sha256 in faults[0]
    assert "has 5 bytes" in faults[1]


def test_a_copy_of_the_folder_is_whole_and_notices_damage(settings: Settings, tmp_path: Path) -> None:
    store, copy = MediaStore(settings.media_folder), MediaStore(tmp_path / "copy")
    kept = store.keep([MP4], len(MP4), "")
    assert copy_media(store, copy) == (1, 1)
    assert copy.path(kept.sha256).read_bytes() == MP4
    assert copy_media(store, copy) == (0, 1)
    damaged = MediaStore(tmp_path / "damaged")
    store.path(kept.sha256).write_bytes(MP4[:-1] + b"!")
    with pytest.raises(Refused, match="damaged"):
        copy_media(store, damaged)
