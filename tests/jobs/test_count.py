"""The closing count through HTTP: signed when it agrees, blocked with the step when not, overridden by a supervisor."""

from collections.abc import Callable

from app.jobs.models import Stage
from app.platform.db import Database
from tests.jobs.bench_work import entries_of, job_of, kitted_work
from tests.visitor import Page, Visitor

Visit = Callable[[str], Visitor]
PASSPHRASE = "seven quiet lighthouses"
BOSS = "Ruth Okonjo-Lind"
REASON = "Screw not found in device or bench"


def job(db: Database, *, lost: bool = False, leftover: bool = False, but: tuple[str, ...] = ()) -> str:
    """Bring a job through teardown and refit; returns its number. A lost back screw is replaced from the kit."""
    with db.write() as session:
        work = kitted_work(session)
        work.teardown()
        if lost:
            work.report("lost", "back/screws", count=1)
            work.shop.hand_out(work.number)
        work.refit(but)
        if leftover:
            work.report("leftover", count=1)
        return work.number


def row(page: Page, name: str) -> list[str]:
    """The cells of an item's line: belongs, out, refitted, scrapped, new, missing."""
    for line in page.soup.select(".count-table tbody tr"):
        cells = [" ".join(c.get_text(" ").split()) for c in line.find_all(["td", "th"])]
        if cells[1].startswith(name):
            return cells[4:]
    raise AssertionError(f"no line {name!r}")


def test_a_count_that_agrees_is_signed_with_one_button(db: Database, visit: Visit) -> None:
    number = job(db)
    page = visit("technician").open(f"/jobs/{number}/count")
    assert "The count agrees" in page.words
    assert row(page, "Back screw") == ["4", "4", "4", "", "", "0"]
    assert row(page, "Rim seal") == ["1", "1", "0", "1", "1", "0"]
    assert row(page, "Wipe") == ["1", "", "", "", "1", "0"]
    after = page.form("/count").submit()
    assert after.path == f"/jobs/{number}/tests"
    assert job_of(db, number).stage is Stage.COUNTED
    assert entries_of(db, number, "count")[0].data["rows"]["back/screws"] == [4, 0, 4, 4, 0, 0, 0]


def test_a_count_is_not_offered_before_the_refit_is_done(db: Database, visit: Visit) -> None:
    number = job(db, but=("back",))
    page = visit("technician").open(f"/jobs/{number}/count")
    assert "1 refit step is still to do" in page.words
    assert not page.soup.find("button", string="Sign the count")
    assert "Override the count" not in page.words


def test_signing_twice_with_the_same_form_is_stored_once(db: Database, visit: Visit) -> None:
    number = job(db)
    form = visit("technician").open(f"/jobs/{number}/count").form("/count")
    assert form.submit().path == f"/jobs/{number}/tests"
    assert form.submit().path == f"/jobs/{number}/tests"
    assert len(entries_of(db, number, "count")) == 1


def test_a_stale_signature_is_answered_with_what_changed(db: Database, visit: Visit) -> None:
    number = job(db)
    technician = visit("technician")
    form = technician.open(f"/jobs/{number}/count").form("/count")
    trouble = technician.open(f"/jobs/{number}/trouble").form("/trouble")
    assert trouble.submit(kind="leftover", item="", count="1").status == 200
    refused = form.submit()
    assert refused.status == 409
    assert "Piece left over reported" in refused.words


def test_a_lost_screw_blocks_the_count_and_names_its_step_and_pocket(db: Database, visit: Visit) -> None:
    number = job(db, lost=True, but=("back",))
    page = visit("technician").open(f"/jobs/{number}/count?scope=cover")
    assert "1 Back screw (step 2, tray pocket 1) is reported lost" in page.words
    links = [str(a["href"]) for a in page.soup.select(".problems a")]
    assert links == [f"/jobs/{number}/bench?step=back", f"/jobs/{number}/trouble?item=back/screws"]
    assert not page.soup.find("button", string="Sign the count")
    assert page.link("Reports").path == f"/jobs/{number}/trouble"


def test_a_piece_left_over_blocks_the_signature(db: Database, visit: Visit) -> None:
    number = job(db, leftover=True)
    technician = visit("technician")
    page = technician.open(f"/jobs/{number}/count")
    assert "1 piece left over on the bench" in page.words
    version = str(job_of(db, number).version)
    override = page.form("/count/override")
    ids = {name: override.values[name][0] for name in ("csrf_token", "submission_id")}
    refused = technician.post(f"/jobs/{number}/count", {**ids, "version": version})
    assert refused.status == 409
    assert "left over" in refused.words
    assert job_of(db, number).stage is Stage.REFIT


def test_a_wrong_passphrase_is_refused_beside_its_field_with_the_reason_kept(db: Database, visit: Visit) -> None:
    number = job(db, leftover=True)
    page = visit("technician").open(f"/jobs/{number}/count")
    refused = page.form("/count/override").submit(name=BOSS, secret="wrong horse", reason=REASON)
    assert refused.status == 409
    assert REASON in refused.text
    error = refused.soup.find(id="f-secret-error")
    assert error is not None
    assert "do not belong together" in error.get_text()
    assert "wrong horse" not in refused.text
    assert job_of(db, number).stage is Stage.REFIT


def test_only_a_supervisor_overrides(db: Database, visit: Visit) -> None:
    number = job(db, leftover=True)
    page = visit("technician").open(f"/jobs/{number}/count")
    refused = page.form("/count/override").submit(name="Ines Aldvik", secret="480217", reason=REASON)
    assert refused.status == 409
    error = refused.soup.find(id="f-name-error")
    assert error is not None
    assert "is no supervisor" in error.get_text()


def test_an_override_needs_a_reason_in_words(db: Database, visit: Visit) -> None:
    number = job(db, leftover=True)
    page = visit("technician").open(f"/jobs/{number}/count")
    short = page.form("/count/override").submit(name=BOSS, secret=PASSPHRASE, reason="lost")
    assert short.status == 409
    assert "Give the reason in a few words" in short.words
    none = page.form("/count/override").submit(name=BOSS, secret=PASSPHRASE, reason="")
    assert none.status == 422


def test_too_many_wrong_passphrases_must_wait_with_the_reason_kept(db: Database, visit: Visit) -> None:
    number = job(db, leftover=True)
    technician = visit("technician")
    for _ in range(30):
        form = technician.open(f"/jobs/{number}/count").form("/count/override")
        answer = form.submit(name=BOSS, secret="wrong horse", reason=REASON)
        if answer.status == 429:
            break
    assert answer.status == 429
    assert REASON in answer.text
    assert "Too many tries" in answer.words


def test_a_supervisor_overrides_by_name_passphrase_and_reason(db: Database, visit: Visit) -> None:
    number = job(db, leftover=True)
    page = visit("technician").open(f"/jobs/{number}/count")
    after = page.form("/count/override").submit(name=BOSS, secret=PASSPHRASE, reason=REASON)
    assert after.path == f"/jobs/{number}/tests"
    found = job_of(db, number)
    assert (found.stage, found.overridden) == (Stage.COUNTED, True)
    data = entries_of(db, number, "override")[0].data
    assert (data["scope"], data["reason"], data["supervisor"]) == ("final", REASON, 4)
    assert PASSPHRASE not in str(data)


def test_an_override_before_a_cover_lets_that_cover_be_ticked(db: Database, visit: Visit) -> None:
    number = job(db, lost=True, but=("back",))
    technician = visit("technician")
    page = technician.open(f"/jobs/{number}/count?scope=cover")
    assert "Count before the cover" in page.words
    bench = page.form("/count/override").submit(name=BOSS, secret=PASSPHRASE, reason=REASON)
    assert bench.path == f"/jobs/{number}/bench"
    assert bench.form("/bench/tick").submit().status == 200
    assert job_of(db, number).state.refitted
    assert entries_of(db, number, "override")[0].step == "back"


def test_somebody_else_is_asked_to_take_the_job_over_before_signing(db: Database, visit: Visit) -> None:
    number = job(db)
    page = visit("second").open(f"/jobs/{number}/count")
    assert not page.soup.find("button", string="Sign the count")
    assert "Resume at the bench" in page.words


def test_the_count_page_draws_the_descent_with_links_to_its_steps(db: Database, visit: Visit) -> None:
    number = job(db)
    page = visit("technician").open(f"/jobs/{number}/count")
    links = [str(a["href"]) for a in page.soup.select(".descent-large .level a")]
    assert links == [f"/jobs/{number}/bench?step={step}" for step in job_of(db, number).state.teardown]
    assert "Cell pack" in page.soup.select(".descent-large .targets")[0].get_text()


def test_stores_may_not_sign_a_count(db: Database, visit: Visit) -> None:
    number = job(db)
    assert visit("stores").open(f"/jobs/{number}/count").status == 403
