"""Two clerks write down one serial in the same moment, on both databases: the second is asked, whoever that is."""

from collections.abc import Callable
from functools import partial

from sqlmodel import select

from app.jobs.models import Job
from app.platform.db import Database
from app.rules.identifiers import imei_check_digit
from tests.jobs.front import booking
from tests.stores.test_two_pickers import together
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]


def test_one_of_two_bookings_of_a_serial_is_asked_whether_it_is_another_device(front: Database, visit: Visit) -> None:
    clerks = visit("technician"), visit("technician")
    for turn in range(4):
        body = f"4901542032{turn:04d}"
        fields = booking(front, serial=f"{body}{imei_check_digit(body)}", another_device=None)
        forms = [clerk.open("/jobs/new").form("/jobs/new") for clerk in clerks]
        pages = together(*(partial(form.submit, **fields) for form in forms))
        assert sorted(page.status for page in pages) == [200, 409]
    with front.read() as session:
        serials = [job.serial for job in session.exec(select(Job)).all()]
    assert len(serials) == len(set(serials)) == 4
