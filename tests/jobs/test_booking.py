"""Booking in: eight things asked, serials checked, earlier visits shown, photos kept clean."""

from collections.abc import Callable
from io import BytesIO

from fastapi import FastAPI
from PIL import Image
from sqlmodel import select

from app.jobs.models import BenchEvent, Job, Photo
from app.platform.db import Database
from tests.jobs.front import IMEI, book, booking
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]


def _jpeg(width: int = 400, height: int = 300, **more: object) -> bytes:
    out = BytesIO()
    Image.new("RGB", (width, height), "navy").save(out, "JPEG", **more)
    return out.getvalue()


def test_a_device_is_booked_in_with_eight_things_asked(front: Database, visit: Visit) -> None:
    technician = visit("technician")
    page = technician.open("/jobs/new").form("/jobs/new").submit(**booking(front))
    assert page.status == 200
    assert "Does not last a watch" in page.words
    assert "Make safe" in page.words
    with front.read() as session:
        job = session.exec(select(Job)).one()
        assert (job.number, job.serial, job.stage.value, job.consent) == ("J000001", IMEI, "booked in", True)
        assert [e.kind for e in session.exec(select(BenchEvent)).all()] == ["booked"]


def test_no_more_than_eight_fields_are_required(front: Database, visit: Visit) -> None:
    soup = visit("technician").open("/jobs/new").soup
    form = soup.find("form", action="/jobs/new")
    assert form is not None
    names = {str(c["name"]) for c in form.find_all(["input", "select", "textarea"]) if c.has_attr("required")}
    assert names | {"fault"} == {
        "device_model", "serial", "fault", "condition", "owner_ref", "coverage", "data_wish", "consent",
    }  # fmt: skip


def test_everything_left_out_is_named_beside_its_field_and_what_was_typed_is_kept(
    front: Database, visit: Visit
) -> None:
    empty = dict.fromkeys(("device_model", "serial", "owner_ref", "coverage", "data_wish", "consent"))
    page = visit("technician").open("/jobs/new").form("/jobs/new").submit(condition="Bent corner", **empty)
    assert page.status == 422
    assert "Bent corner" in page.text
    for name in ("device_model", "serial", "fault", "owner_ref"):
        assert page.soup.find(id=f"f-{name}-error") is not None, name
    assert "Ask the owner first" in page.words


def test_an_imei_with_a_wrong_digit_is_refused_with_the_reason(front: Database, visit: Visit) -> None:
    page = visit("technician").open("/jobs/new").form("/jobs/new").submit(**booking(front, serial="490154203237519"))
    assert page.status == 409
    error = page.soup.find(id="f-serial-error")
    assert error is not None
    assert "one digit is wrong or two are swapped" in error.get_text()
    assert 'value="490154203237519"' in page.text
    with front.read() as session:
        assert session.exec(select(Job)).all() == []


def test_an_imei_without_its_check_digit_is_told_which_one_is_missing(front: Database, visit: Visit) -> None:
    page = visit("technician").open("/jobs/new").form("/jobs/new").submit(**booking(front, serial=IMEI[:14]))
    assert "it should be 8" in page.words


def test_the_same_serial_shows_its_earlier_visits_while_typing_and_on_the_job(front: Database, visit: Visit) -> None:
    technician = visit("technician")
    first = book(technician, front)
    fields = f"device_model={booking(front)['device_model']}&serial=49-015420-323751-8"
    part = technician.open(f"/jobs/new?part=serial&{fields}", **{"HX-Request-Type": "partial"})
    assert part.soup.find("form") is None
    assert first in part.words
    second = book(technician, front, serial="4901 5420 3237 518")
    page = technician.open(f"/jobs/{second}")
    assert "Earlier visits of this serial" in page.words
    assert first in page.words
    # Seen from the first, the second is not an earlier one.
    assert "Other visits of this serial" in technician.open(f"/jobs/{first}").words


def test_the_fault_words_of_the_model_are_offered(front: Database, visit: Visit) -> None:
    technician = visit("technician")
    model = booking(front)["device_model"]
    part = technician.open(f"/jobs/new?device_model={model}", **{"HX-Request-Type": "partial"})
    assert "Glass cracked" in part.words
    assert "IMEI" in part.words


def test_a_double_submit_books_one_device_in(front: Database, visit: Visit) -> None:
    form = visit("technician").open("/jobs/new").form("/jobs/new")
    first, second = form.submit(**booking(front)), form.submit(**booking(front))
    assert first.path == second.path
    with front.read() as session:
        assert len(session.exec(select(Job)).all()) == 1


def test_the_same_form_with_other_content_is_a_conflict(front: Database, visit: Visit) -> None:
    form = visit("technician").open("/jobs/new").form("/jobs/new")
    form.submit(**booking(front))
    assert form.submit(**booking(front, owner_ref="Somebody else")).status == 409


def test_a_photo_is_made_smaller_and_loses_its_metadata(front: Database, visit: Visit) -> None:
    exif = Image.Exif()
    exif[0x010E] = "the owner's kitchen"
    picture = _jpeg(3000, 2000, exif=exif, comment=b"secret place")
    files = {"photos": ("corner.jpg", picture, "image/jpeg")}
    technician = visit("technician")
    page = technician.open("/jobs/new").form("/jobs/new").submit(files=files, **booking(front))
    assert page.status == 200
    with front.read() as session:
        photo = session.exec(select(Photo)).one()
        assert (photo.width, photo.height) == (1600, 1067)
        address = f"{page.path}/photos/{photo.id}"
    answer = technician.client.get(address)
    assert answer.headers["content-type"] == "image/jpeg"
    assert answer.headers["cache-control"].startswith("private")
    kept = Image.open(BytesIO(answer.content))
    assert not dict(kept.getexif())
    assert b"kitchen" not in answer.content
    assert b"secret" not in answer.content


def test_a_file_that_is_no_photo_is_named(front: Database, visit: Visit) -> None:
    files = {"photos": ("notes.pdf", b"%PDF-1.7 not a picture", "image/jpeg")}
    page = visit("technician").open("/jobs/new").form("/jobs/new").submit(files=files, **booking(front))
    assert page.status == 409
    assert "notes.pdf is not a photo that can be read" in page.words
    assert "Scratched lid" in page.text
    with front.read() as session:
        assert session.exec(select(Job)).all() == []


def test_a_photo_of_too_many_pixels_is_refused_before_it_is_decoded(front: Database, visit: Visit) -> None:
    out = BytesIO()
    Image.new("1", (20_000, 10_000)).save(out, "PNG")
    technician = visit("technician")
    number = book(technician, front)
    form = technician.open(f"/jobs/{number}").form("/photos")
    page = form.submit(files={"photos": ("wall.png", out.getvalue(), "image/png")})
    assert page.status == 409
    assert "40 million pixels" in page.words


def test_photos_are_added_to_a_job_later(front: Database, visit: Visit) -> None:
    technician = visit("technician")
    number = book(technician, front)
    out = BytesIO()
    Image.new("RGBA", (60, 40), (200, 0, 0, 128)).save(out, "WEBP")
    form = technician.open(f"/jobs/{number}").form("/photos")
    page = form.submit(files={"photos": ("lid.webp", out.getvalue(), "image/webp")}, caption="The lid")
    assert page.soup.find("img", alt="The lid") is not None


def test_a_job_that_is_not_there_is_said_to_be_missing(front: Database, visit: Visit) -> None:
    page = visit("technician").open("/jobs/J999999")
    assert page.status == 404
    assert "There is no job J999999" in page.words


def test_nobody_books_in_without_signing_in(front: Database, app: FastAPI) -> None:
    assert Visitor(app).open("/jobs/new").path == "/sign-in"
