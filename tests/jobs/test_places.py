"""Places on the drawing through HTTP: counted out, back, taken back; the picture and the list always say the same."""

from collections.abc import Callable, Mapping
from typing import Any

import pytest
from bs4 import Tag
from fastapi import FastAPI
from sqlmodel import select

from app.jobs.actions import bench
from app.jobs.actions.places import set_place
from app.jobs.actions.trouble import report
from app.jobs.models import KitLot, PartUse
from app.jobs.queries import jobs as queries
from app.jobs.queries.faults import bench_faults
from app.people.models import Role
from app.platform import clock
from app.platform.clock import uuid7
from app.platform.db import Database
from app.platform.errors import Conflict, Refused
from app.procedures import queries as procedures
from app.rules import bench as rules
from app.rules.counting import BenchState
from tests.jobs.bench_shop import TECHNICIAN, BenchShop, set_up
from tests.jobs.bench_work import entries_of
from tests.jobs.sheets import placed_file
from tests.jobs.test_bench_api import Program, token
from tests.visitor import FormFiller, Page, Visitor

Visit = Callable[[str], Visitor]
SCREWS, STRIPS = "back/screws", "cell/strips"


@pytest.fixture
def number(db: Database) -> str:
    """A job with its kit handed out, the cell to exchange, by the procedure with places."""
    with db.write() as session:
        return BenchShop(session, set_up(session, file=placed_file())).kitted(("cell",))


def at_step(visitor: Visitor, db: Database, number: str, step: str, side: str = "down") -> Page:
    """Open the job at the bench and tick on to a step."""
    page = visitor.open(f"/jobs/{number}/bench")
    if page.soup.select('form[action$="/bench/open"]'):
        page = page.form("/bench/open").submit()
    while True:
        state, sheet = state_of(db, number)
        if rules.focus(sheet, state) == (side, step):
            return visitor.open(f"/jobs/{number}/bench")
        page = page.form("/bench/tick").submit()
        assert page.status == 200, page.words


def state_of(db: Database, number: str) -> tuple[BenchState, Any]:
    """Where the job stands, and its sheet."""
    with db.read() as session:
        job = queries.find_job(session, number)
        return job.state, procedures.sheet(session, job.revision_id)


def place(page: Page, item: str, n: int) -> FormFiller:
    """The form of one place."""
    forms = [FormFiller(page, form) for form in page.soup.select("form.place-form")]
    return next(f for f in forms if f.values["item"] == [item] and f.values["place"] == [str(n)])


def in_list(page: Page) -> list[str]:
    """The state of each place as the list says it, for every eye and every screen reader."""
    return [_said(button) for button in page.soup.select(".release .place-button")]


def on_drawing(page: Page) -> list[str]:
    """The state of each place as the drawing says it."""
    return [_said(button) for button in page.soup.select(".bench-drawing svg.places button")]


def _said(button: Tag) -> str:
    return str(button["aria-label"]).rsplit(", ", 1)[1]


def shapes(page: Page, where: str) -> list[str]:
    """The marks drawn, by their names."""
    return [str(use["href"]).removeprefix("#m-ring-") for use in page.soup.select(f"{where} use[href^='#m-ring']")]


def tap(page: Page, item: str, *places: int) -> Page:
    """Tap places one after the other; the picture and the list agree after each."""
    for n in places:
        page = place(page, item, n).submit()
        assert page.status == 200, page.words
        assert in_list(page) == on_drawing(page)
        assert shapes(page, ".place-row") == shapes(page, "svg.places")
    return page


def counted(db: Database, number: str, item: str) -> tuple[int, int, int]:
    """Pieces out, refitted and new of an item."""
    found = state_of(db, number)[0].items[item]
    return found.out, found.refitted, found.new


def check_books(db: Database) -> None:
    """The project's own check of all entries against all projections."""
    with db.read() as session:
        assert bench_faults(session) == []


def test_each_place_has_a_button_in_the_list_and_one_on_the_drawing(visit: Visit, db: Database, number: str) -> None:
    page = at_step(visit("technician"), db, number, "back")
    assert [str(b["aria-label"]) for b in page.soup.select("svg.places button")] == [
        f"Place {n} of 4, Back screw, to be counted" for n in (1, 2, 3, 4)
    ]
    forms = {str(b["form"]) for b in page.soup.select("svg.places button")}
    assert forms == {str(form["id"]) for form in page.soup.select("form.place-form")}
    assert [text.get_text() for text in page.soup.select("svg.places text")] == ["1", "2", "3", "4"]


def test_a_tap_counts_a_place_out_and_the_tick_counts_the_rest(visit: Visit, db: Database, number: str) -> None:
    page = tap(at_step(visit("technician"), db, number, "back"), SCREWS, 3, 1)
    assert in_list(page) == ["out", "to be counted", "out", "to be counted"]
    assert shapes(page, ".place-row") == ["out", "open", "out", "open"]
    assert counted(db, number, SCREWS) == (2, 0, 0)
    assert "2 screws out" in page.words
    page.form("/bench/tick").submit()
    assert counted(db, number, SCREWS) == (4, 0, 0)
    check_books(db)


def test_a_second_tap_takes_the_place_back_with_an_entry_that_points_at_the_first(
    visit: Visit, db: Database, number: str
) -> None:
    visitor = visit("technician")
    page = tap(at_step(visitor, db, number, "back"), SCREWS, 2, 2)
    assert in_list(page) == ["to be counted"] * 4
    assert counted(db, number, SCREWS) == (0, 0, 0)
    events = visitor_events(db, number)
    assert [(e["on"], bool(e["undoes"])) for e in events] == [(True, False), (False, True)]
    check_books(db)


def visitor_events(db: Database, number: str) -> list[dict[str, Any]]:
    """The entries of places, as the record has them."""
    return [{"on": e.data["on"], "undoes": e.undoes} for e in entries_of(db, number, "place")]


def test_back_takes_the_tick_back_and_leaves_the_places(visit: Visit, db: Database, number: str) -> None:
    page = tap(at_step(visit("technician"), db, number, "back"), SCREWS, 1, 2, 4)
    page = page.form("/bench/tick").submit().form("/bench/undo").submit()
    assert in_list(page) == ["out", "out", "to be counted", "out"]
    assert counted(db, number, SCREWS) == (3, 0, 0)
    check_books(db)


def test_a_single_use_place_is_scrapped_at_once_and_freed_again(visit: Visit, db: Database, number: str) -> None:
    page = tap(at_step(visit("technician"), db, number, "cell"), STRIPS, 2)
    assert in_list(page) == ["to be counted", "scrapped"]
    check_books(db)
    page = tap(page, STRIPS, 2)
    assert in_list(page) == ["to be counted", "to be counted"]
    check_books(db)


def test_on_the_way_back_a_place_takes_a_new_one_from_the_lot(visit: Visit, db: Database, number: str) -> None:
    page = tap(at_step(visit("technician"), db, number, "cell", "up"), STRIPS, 2)
    assert in_list(page) == ["scrapped", "back"]
    assert counted(db, number, STRIPS) == (2, 0, 1)
    assert fitted(db) == ({"F-320": 1}, {"F-320": 1})
    check_books(db)
    page = tap(page, STRIPS, 2)
    assert fitted(db) == ({}, {})
    check_books(db)
    tap(page, STRIPS, 1).form("/bench/tick").submit()
    assert fitted(db)[1]["F-320"] == 2
    check_books(db)


def fitted(db: Database) -> tuple[Mapping[str, int], Mapping[str, int]]:
    """New parts that stand: as spelt out, and as counted against their lots."""
    uses: dict[str, int] = {}
    with db.read() as session:
        for use in session.exec(select(PartUse)).all():
            if not use.struck:
                uses[use.part_number] = uses.get(use.part_number, 0) + use.quantity
        lots = {row.part_number: row.fitted for row in session.exec(select(KitLot)).all() if row.fitted}
    return uses, lots


def test_a_place_left_over_is_named_on_the_closing_count_and_shown_on_its_drawing(
    visit: Visit, db: Database, number: str
) -> None:
    visitor = visit("technician")
    tap(at_step(visitor, db, number, "back", "up"), SCREWS, 1, 2, 4)
    for path in ("count", "trouble"):
        page = visitor.open(f"/jobs/{number}/{path}")
        assert "Back screw 3 of 4 is not back." in page.words
        (left,) = page.soup.select(".left-over svg.places .place-left")
        assert left.parent is not None
        assert left.parent.get_text(strip=True) == "3"
    page = visitor.open(f"/jobs/{number}/bench").form("/bench/tick").submit()
    assert "is not back" not in visitor.open(f"/jobs/{number}/count").words
    check_books(db)


def test_nothing_is_shown_as_left_over_where_the_step_is_ticked_whole(visit: Visit, db: Database, number: str) -> None:
    visitor = visit("technician")
    at_step(visitor, db, number, "back", "up")
    assert not visitor.open(f"/jobs/{number}/count").soup.select(".left-over")


def test_a_place_of_a_step_that_is_not_next_is_refused_in_words(visit: Visit, db: Database, number: str) -> None:
    visitor = visit("technician")
    at_step(visitor, db, number, "warm")
    page = visitor.open(f"/jobs/{number}/bench?step=back")
    assert not page.soup.select("svg.places button"), "places that would be refused are only shown"
    assert [text.get_text() for text in page.soup.select("svg.places text")] == ["1", "2", "3", "4"]
    with pytest.raises(Refused, match="First: Warm the edge"), db.write() as session:
        set_place(session, number, SCREWS, 1, "down", True, **stamp())


def stamp(event_id: str = "") -> dict[str, Any]:
    """Time, person and id of an entry."""
    return {"at": clock.now(), "who": TECHNICIAN, "event_id": event_id or uuid7()}


def test_a_place_that_cannot_be_read_is_refused_and_nothing_stored(visit: Visit, db: Database, number: str) -> None:
    page = at_step(visit("technician"), db, number, "back")
    refused = place(page, SCREWS, 1).submit(place="x")
    assert refused.status == 409
    assert "Choose a place on the drawing." in refused.words
    assert place(page, SCREWS, 1).submit(place="9").status == 409
    assert counted(db, number, SCREWS) == (0, 0, 0)


def test_the_same_tap_sent_twice_counts_once_and_another_under_its_id_is_a_conflict(
    visit: Visit, db: Database, number: str
) -> None:
    page = at_step(visit("technician"), db, number, "back")
    form = place(page, SCREWS, 2)
    assert form.submit().status == 200
    assert form.submit().status == 200
    assert counted(db, number, SCREWS) == (1, 0, 0)
    assert form.submit(place="3").status == 409
    assert len(visitor_events(db, number)) == 1


def test_the_same_entry_comes_to_the_same_end_long_after_it_was_taken_back(db: Database, number: str) -> None:
    first, second = uuid7(), uuid7()
    with db.write() as session:
        bench.open_job(session, number, **stamp())
        bench.tick(session, number, "down", "warm", **stamp())
    for on, entry in ((True, first), (False, second), (True, first), (False, second)):
        with db.write() as session:
            set_place(session, number, SCREWS, 1, "down", on, **stamp(entry))
    assert counted(db, number, SCREWS) == (0, 0, 0)
    with pytest.raises(Conflict), db.write() as session:
        set_place(session, number, SCREWS, 2, "down", True, **stamp(first))


def test_a_broken_screw_is_struck_where_it_came_out_and_asked_for_nowhere_else(
    visit: Visit, db: Database, number: str
) -> None:
    visitor = visit("technician")
    tap(at_step(visitor, db, number, "back"), SCREWS, 1, 3)
    with db.write() as session:
        report(session, number, "damage", item=SCREWS, count=1, **stamp())
    page = visitor.open(f"/jobs/{number}/bench")
    assert in_list(page) == ["out", "to be counted", "scrapped", "to be counted"] == on_drawing(page)
    assert place_button(page, 3).has_attr("disabled")
    page = page.form("/bench/tick").submit()
    assert counted(db, number, SCREWS) == (4, 0, 0)
    check_books(db)


def place_button(page: Page, n: int) -> Tag:
    """The button of a place in the list."""
    found: Tag = page.soup.select(".place-button")[n - 1]
    return found


def test_the_step_looked_at_stays_in_sight_after_a_tap(visit: Visit, db: Database, number: str) -> None:
    visitor = visit("technician")
    at_step(visitor, db, number, "plug")
    page = visitor.open(f"/jobs/{number}/bench?step=plug")
    page = place(page, "plug/plug", 1).submit()
    assert in_list(page) == ["out"]
    assert str(page.response.url).endswith("step=plug")


def test_the_api_counts_a_place_and_takes_it_back(app: FastAPI, db: Database, number: str) -> None:
    program = Program(token(app, db, Role.TECHNICIAN), number)
    program.event("open")
    program.event("tick", step="warm")
    body: dict[str, Any] = {"side": "down", "item": SCREWS, "place": 4}
    first = program.event("place", **body)["event"]
    assert (first["kind"], first["data"]["place"], first["step"]) == ("place", 4, "back")
    assert program.event("place", **body, on=False)["event"]["undoes"] == first["id"]
    program.event("place", 409, **{**body, "item": "back/seal"})
    assert counted(db, number, SCREWS) == (0, 0, 0)
    check_books(db)


def test_the_record_tells_each_place(visit: Visit, db: Database, number: str) -> None:
    visitor = visit("technician")
    tap(at_step(visitor, db, number, "back"), SCREWS, 3, 3)
    words = visit("supervisor").open(f"/review/jobs/{number}").words
    assert "Counted out: place 3 of “Back screw”." in words
    assert "Took back: place 3 of “Back screw” counted out." in words


def test_a_whole_job_counted_place_by_place_uses_what_the_ticks_use(visit: Visit, db: Database, number: str) -> None:
    """Cell, seal, two strips and a wipe, and nothing twice."""
    visitor = visit("technician")
    at_step(visitor, db, number, "back")
    for side in ("down", "up"):
        while (found := rules.focus(*reversed(state_of(db, number)))) is not None:
            if found[0] != side:
                break
            page = visitor.open(f"/jobs/{number}/bench")
            for form in page.soup.select("form.place-form"):
                filler = FormFiller(page, form)
                assert filler.submit().status == 200
            visitor.open(f"/jobs/{number}/bench").form("/bench/tick").submit()
        if side == "down":
            visitor.open(f"/jobs/{number}/bench").form("/bench/tick").submit()
    assert fitted(db) == ({"F-100": 1, "F-310": 1, "F-320": 2, "F-330": 1},) * 2
    assert state_of(db, number)[0].refitted
    check_books(db)
