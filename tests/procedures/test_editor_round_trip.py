"""Nothing is lost between a published procedure, a draft of it, its forms, its file and its DITA topic."""

import io
import zipfile
from collections.abc import Callable
from xml.etree.ElementTree import fromstring

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.platform import clock
from app.platform.db import Database
from app.platform.forms import RawForm
from app.procedures import queries
from app.procedures.actions import SheetFile, import_sheets
from app.procedures.actions.drafts import next_revision
from app.procedures.dita import write_topic
from app.procedures.document import read_sheet, write_document, write_yaml
from app.procedures.draft_checks import look
from app.procedures.draft_fields import fill, read
from app.procedures.files import read_folder
from app.procedures.queries import drafts
from app.rules.sheet import Sheet, Step
from app.rules.sheet_difference import difference
from tests.procedures.dita_models import faults
from tests.procedures.examples import PARTS, SEED, SHEET
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]
DEMO = sorted(SEED.glob("*.yaml"))
FILES = pytest.mark.parametrize("path", DEMO, ids=lambda p: p.stem)


def _sheet(path) -> Sheet:  # type: ignore[no-untyped-def]
    return read_sheet(path.name, path.read_text(encoding="utf-8"), None)


def _plain(sheet: Sheet) -> dict[str, object]:
    return sheet.model_dump(mode="json", exclude_defaults=True, exclude={"countback", "revision"})


@FILES
def test_a_procedure_posted_back_from_its_forms_is_the_same(path) -> None:  # type: ignore[no-untyped-def]
    document = _plain(_sheet(path))
    for model, rows in ((Step, document["steps"]), (Sheet, [document])):
        for row in rows:  # type: ignore[attr-defined]
            values, lists = fill(model, row)
            posted = RawForm({**{k: (v,) for k, v in values.items() if v}, **{k: v for k, v in lists.items() if v}})
            only = [name for name in model.model_fields if name not in ("id", "picture", "countback", "revision")]
            assert read(model, posted, row, only=only) == row


def test_every_procedure_of_the_demo_goes_through_draft_export_and_import_unchanged(db: Database, visit: Visit) -> None:
    with db.write() as session:
        done = import_sheets(session, read_folder(SEED), None, clock.now(), None)
    with db.write() as session:
        begun = [next_revision(session, d.revision_id, who=4, at=clock.now()) for d in done]
    boss = visit("supervisor")
    for one, draft_id in zip(done, begun, strict=True):
        text = boss.client.get(f"/procedures/drafts/{draft_id}.yaml").text
        again = SheetFile(f"{one.code}.yaml", text)
        with db.write() as session:
            (new,) = import_sheets(session, [again], None, clock.now(), None)
        assert (new.code, new.revision, new.new) == (one.code, one.revision + 1, True)
        with db.read() as session:
            old, now = queries.sheet(session, one.revision_id), queries.sheet(session, new.revision_id)
            assert _plain(old) == _plain(now)
            assert queries.drawing_hashes(session, one.revision_id) == queries.drawing_hashes(session, new.revision_id)
            assert difference(_plain(old), drafts.draft(session, draft_id).document).same
            assert look(drafts.draft(session, draft_id).document, 2, None).problems == ()


def test_a_draft_with_gaps_is_written_and_read_again_with_its_gaps() -> None:
    document = {"code": "lamp", "title": "Lamp", "steps": [{"id": "new-1", "do": "yes"}]}
    text = write_document(document, 1)
    assert "countback: 1" in text
    assert "do: 'yes'" in text


@FILES
def test_the_topic_of_a_procedure_has_the_element_order_of_the_standard(path) -> None:  # type: ignore[no-untyped-def]
    sheet = _sheet(path)
    text = write_topic(sheet)
    assert text.splitlines()[1] == '<!DOCTYPE task PUBLIC "-//OASIS//DTD DITA Task//EN" "task.dtd">'
    root = fromstring(text)
    assert list(faults(root)) == []
    back = [step for step in sheet.steps if step.refit]
    assert len(root.findall("./taskbody/steps/step")) == len(sheet.steps) + len(back)
    assert len(root.findall(".//prereq/hazardstatement")) == len(sheet.cautions)
    hazards = sum(len(s.hazards) + (len(s.refit.hazards) if s.refit else 0) for s in sheet.steps)
    assert len(root.findall("./taskbody/steps/step/hazardstatement")) == hazards
    words = " ".join("".join(root.itertext()).split())
    for step in sheet.steps:
        assert " ".join(step.do.split()) in words
        for fixing in step.releases:
            assert fixing.name in words


def test_the_validator_of_topics_finds_what_is_out_of_order() -> None:
    wrong = fromstring(
        '<task id="1x"><taskbody><steps><step><info/><cmd>A</cmd></step></steps><context/></taskbody></task>'
    )
    found = " ".join(faults(wrong))
    assert "task holds taskbody" in found
    assert "taskbody holds steps context" in found
    assert "step holds info cmd" in found
    assert "1x" in found


def test_topics_come_with_a_map_and_their_pictures(db: Database, visit: Visit) -> None:
    with db.write() as session:
        done = import_sheets(session, read_folder(SEED), None, clock.now(), None)
    boss = visit("technician")
    one = done[0]
    assert fromstring(boss.client.get(f"/procedures/{one.code}/{one.revision}.dita").text).tag == "task"
    for path, count in ((f"/procedures/{one.code}/{one.revision}.dita.zip", 1), ("/procedures/dita.zip", len(done))):
        archive = zipfile.ZipFile(io.BytesIO(boss.client.get(path).content))
        names = set(archive.namelist())
        root = fromstring(archive.read("procedures.ditamap"))
        assert list(faults(root)) == []
        topics = [ref.get("href") or "" for ref in root.findall("topicref")]
        assert len(topics) == count
        for topic in topics:
            folder = topic.rpartition("/")[0]
            for image in fromstring(archive.read(topic)).iter("image"):
                assert f"{folder}/{image.get('href')}" in names


@settings(max_examples=60, deadline=None)
@given(
    st.recursive(
        st.one_of(st.none(), st.booleans(), st.integers(-3, 300), st.text(max_size=6)),
        lambda inner: st.one_of(
            st.lists(inner, max_size=3),
            st.dictionaries(
                st.sampled_from(
                    [
                        "id",
                        "title",
                        "do",
                        "after",
                        "count",
                        "kind",
                        "refit",
                        "part",
                        "time_s",
                        "places",
                        "x",
                        "releases",
                    ]
                ),
                inner,
                max_size=4,
            ),
        ),
        max_leaves=12,
    ),
    st.sampled_from(["steps", "units", "device_model", "tools", "release_tests", "cautions", "title", "picture"]),
)
def test_looking_at_a_draft_never_fails_whatever_is_in_it(value: object, key: str) -> None:
    document = _plain(read_sheet("radio.yaml", SHEET, PARTS)) | {key: value}
    looked = look(document, 2, PARTS)
    assert (looked.sheet is None) == bool(looked.problems)


def test_a_sheet_written_from_a_draft_is_the_sheet() -> None:
    sheet = read_sheet("radio.yaml", SHEET, PARTS)
    assert write_document(_plain(sheet), 1) == write_yaml(sheet)


def test_a_procedure_travels_to_another_workshop_with_its_drawings(db: Database, visit: Visit) -> None:
    with db.write() as session:
        done = import_sheets(session, read_folder(SEED), None, clock.now(), None)
    boss = visit("supervisor")
    for one in done:
        archive = zipfile.ZipFile(io.BytesIO(boss.client.get(f"/procedures/{one.code}/{one.revision}.zip").content))
        drawings = {n: archive.read(n).decode() for n in archive.namelist() if n.endswith(".svg")}
        (sheet,) = (archive.read(n).decode() for n in archive.namelist() if n.endswith(".yaml"))
        with db.write() as session:
            (same,) = import_sheets(session, [SheetFile("x.yaml", sheet, drawings)], None, clock.now(), None)
        assert same.new is False, "the file with its drawings is the very same revision"
