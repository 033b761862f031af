"""The countback command and the media folder: checked, copied, put back."""

from io import BytesIO
from pathlib import Path

import pytest

from app.platform import clock
from app.platform.db import Database
from app.platform.media import LargeUpload
from app.platform.settings import Settings
from app.procedures.actions.media import note_media, store_video
from app.procedures.models import MediaKind
from tests.procedures.test_media import MP4
from tests.test_cli import refuses, works

pytestmark = pytest.mark.slow


def test_a_missing_recording_is_told_and_comes_back_from_the_copy(tmp_path: Path) -> None:
    works("migrate", folder=tmp_path)
    settings = Settings(data_dir=tmp_path, media_dir=tmp_path / "shared")
    stored, content_type = store_video(settings, LargeUpload("s.mp4", BytesIO(MP4), len(MP4)))
    db = Database(settings.url)
    with db.write() as session:
        note_media(session, stored, MediaKind.VIDEO, content_type, "s.mp4", at=clock.now(), who=None)
    db.dispose()
    shared = {"COUNTBACK_MEDIA_DIR": str(tmp_path / "shared")}
    copy = str(tmp_path / "copies" / "monday.db")
    assert "ok  pictures and recordings" in works("check", folder=tmp_path, **shared)
    assert "--media copies them too" in works("backup", str(tmp_path / "plain.db"), folder=tmp_path, **shared)
    assert "1 of 1 pictures and recordings copied" in works("backup", copy, "--media", folder=tmp_path, **shared)
    (tmp_path / "shared" / stored.sha256[:2] / stored.sha256).unlink()
    told = refuses("check", folder=tmp_path, **shared)
    assert "FAULT  pictures and recordings" in told
    assert stored.sha256 in told
    assert "1 of 1" in works("restore", copy, "--replace", "--media", folder=tmp_path, **shared)
    works("check", folder=tmp_path, **shared)
