"""What every entry at the bench asks before it is written, and what it leaves behind: one guard or trace at a time."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from sqlmodel import col, select

from app.jobs.actions import bench, close, hold, trouble
from app.jobs.actions.bench import Bench
from app.jobs.models import BenchEvent, Discard, KitLot, PartUse, Stage
from app.platform.db import Database
from app.platform.errors import Conflict, Refused, Stale
from tests.jobs.bench_shop import SECOND, SUPERVISOR, TECHNICIAN
from tests.jobs.bench_work import BenchWork, entries_of, kitted_work

Act = Callable[..., Any]


def tick(work: BenchWork, side: str, step: str, **more: Any) -> None:
    """Tick a step as the technician, unless ``who`` says otherwise."""
    bench.tick(work.session, work.number, side, step, **{**work.stamp(), **more})


def last_tick(work: BenchWork) -> str:
    """Return the id of the tick that can be taken back."""
    return work.job.state.ticks[-1].event_id


def stage(work: BenchWork) -> Stage:
    """Return the job's stage."""
    return work.job.stage


def at_bench(work: BenchWork) -> int | None:
    """Return who is at the bench."""
    return work.job.state.at_bench


def entries(work: BenchWork) -> int:
    """Return how many entries the job has."""
    return len(work.session.exec(select(BenchEvent.id).where(BenchEvent.job_id == work.job.id)).all())


def deeds(work: BenchWork) -> dict[str, Act]:
    """Return one act of each kind at the bench, each taking who, when and the id."""
    session, number = work.session, work.number
    return {
        "tick": lambda **s: bench.tick(session, number, "down", "back", **s),
        "undo": lambda **s: bench.undo(session, number, last_tick(work), **s),
        "pause": lambda **s: bench.pause(session, number, "lunch", **s),
        "sign": lambda **s: close.sign_count(session, number, work.job.version, **s),
        "recount": lambda **s: bench.recount(session, number, {}, **s),
    }


def test_only_the_one_at_the_bench_ticks_takes_back_pauses_counts_and_signs(db: Database) -> None:
    with db.write() as session:
        work = kitted_work(session)
        tick(work, "down", "warm")
        before = entries(work)
        for name, act in deeds(work).items():
            with pytest.raises(Refused, match="Another technician has this job open"):
                act(**work.stamp(SECOND))
            assert entries(work) == before, name
        bench.pause(session, work.number, "lunch", **work.stamp())
        for act in (deeds(work)["tick"], deeds(work)["undo"]):
            with pytest.raises(Refused, match="not open at the bench"):
                act(**work.stamp())
        with pytest.raises(Refused, match="Nobody is at work"):
            deeds(work)["pause"](**work.stamp())


@pytest.mark.parametrize("kind", ["safety", "owner's answer"])
def test_a_hold_for_people_stops_every_entry_at_the_bench(db: Database, kind: str) -> None:
    with db.write() as session:
        work = kitted_work(session)
        tick(work, "down", "warm")
        hold.put_on_hold(session, work.number, work.job.version, kind, "Something is wrong", **work.stamp())
        before = entries(work)
        acts: dict[str, Act] = {
            **{name: act for name, act in deeds(work).items() if name != "pause"},
            "open": lambda **s: bench.open_job(session, work.number, **s),
            "override": lambda **s: close.override(
                session, work.number, "final", "It cannot be found", SUPERVISOR, **s
            ),
            "test": lambda **s: close.record_test(session, work.number, "power", accepted=True, **s),
        }
        for name, act in acts.items():
            with pytest.raises(Refused, match="is on hold"):
                act(**work.stamp())
            assert entries(work) == before, name


def test_a_job_that_ended_takes_no_entry(db: Database) -> None:
    with db.write() as session:
        work = kitted_work(session)
        work.teardown()
        work.refit()
        work.shop.at(5)
        work.sign()
        work.pass_tests()
        close.close_job(session, work.number, work.job.version, work.shop.settings, **work.stamp())
        before = entries(work)
        for name, act in deeds(work).items():
            with pytest.raises(Refused):
                act(**work.stamp())
            assert entries(work) == before, name
        with pytest.raises(Refused, match="is closed"):
            bench.open_job(session, work.number, **work.stamp())
        with pytest.raises(Refused, match="already closed"):
            close.close_job(session, work.number, work.job.version, work.shop.settings, **work.stamp())
        with pytest.raises(Refused, match="while the job is at the bench"):
            trouble.report(session, work.number, "leftover", count=1, **work.stamp())


def test_the_stage_follows_the_side_that_is_worked_on(db: Database) -> None:
    with db.write() as session:
        work = kitted_work(session)
        assert stage(work) is Stage.TEARDOWN
        work.teardown()
        assert stage(work) is Stage.REFIT
        bench.undo(session, work.number, last_tick(work), **work.stamp())
        assert stage(work) is Stage.TEARDOWN
        tick(work, "turn", "")
        work.refit()
        work.shop.at(5)
        work.sign()
        assert stage(work) is Stage.COUNTED
        bench.undo(session, work.number, last_tick(work), **work.stamp())
        assert (stage(work), work.job.state.counted) == (Stage.REFIT, False)
        tick(work, "up", "back")
        work.shop.at(5)
        work.sign()
        trouble.report(session, work.number, "leftover", count=1, **work.stamp())
        assert (stage(work), work.job.state.counted) == (Stage.REFIT, False)


def test_the_same_id_with_anything_else_in_it_is_a_conflict(db: Database) -> None:
    with db.write() as session:
        work = kitted_work(session)
        stamp = work.stamp()
        tick(work, "down", "warm", **stamp)
        tick(work, "down", "back")
        before = entries(work)
        others: list[dict[str, Any]] = [
            {"old_serial": "C-1"}, {"rejects": ("shield/flat",)}, {"scanned": (("F-100", "L-F-100"),)},
        ]  # fmt: skip
        for other in others:
            with pytest.raises(Conflict):
                bench.tick(session, work.number, "down", "warm", **stamp, **other)
        with pytest.raises(Conflict):
            bench.tick(session, work.number, "down", "back", **stamp)
        tick(work, "down", "warm", **stamp)  # As it was: answered, and nothing is stored.
        assert entries(work) == before

        first, taken = work.job.state.ticks[0].event_id, last_tick(work)
        undo = work.stamp()
        bench.undo(session, work.number, taken, **undo)
        with pytest.raises(Conflict):
            bench.undo(session, work.number, first, **undo)
        bench.undo(session, work.number, taken, **undo)
        assert entries(work) == before + 1


def test_opening_a_job_pauses_the_other_one_and_a_repeat_of_that_pauses_nothing(db: Database) -> None:
    with db.write() as session:
        one = kitted_work(session)
        other = BenchWork(one.shop, one.shop.kitted(("cell",), "FR-2"))
        opened = other.stamp()
        bench.open_job(session, other.number, **opened)
        assert at_bench(one) is None
        assert one.job.state.paused == f"work on {other.number}"
        one.open()
        assert at_bench(other) is None
        # The answer to the first opening was lost, and the tablet sends it once more.
        bench.open_job(session, other.number, **{**opened, "at": one.shop.at()})
        assert (at_bench(one), at_bench(other)) == (TECHNICIAN, None)
        before = entries(one)
        one.open()  # It is open: nothing to write.
        assert entries(one) == before


def test_what_went_in_and_came_out_is_kept_and_struck_when_it_is_taken_back(db: Database) -> None:
    with db.write() as session:
        work = kitted_work(session)
        work.teardown()
        tick(work, "up", "cell", old_serial="OLD-7")
        job_id = work.job.id

        def books() -> tuple[int, int, int]:
            lots = session.exec(select(KitLot).where(KitLot.job_id == job_id)).all()
            uses = session.exec(select(PartUse).where(PartUse.job_id == job_id, col(PartUse.struck).is_(False))).all()
            scrap = session.exec(select(Discard).where(Discard.job_id == job_id, col(Discard.struck).is_(False))).all()
            return sum(lot.fitted for lot in lots), sum(u.quantity for u in uses), sum(d.quantity for d in scrap)

        # One cell, two strips and a wipe went in; the seal, two strips and the old cell were scrapped.
        assert books() == (4, 4, 4)
        bench.undo(session, work.number, last_tick(work), **work.stamp())
        assert books() == (0, 0, 4)
        tick(work, "up", "cell", old_serial="OLD-7")
        assert books() == (4, 4, 4)
        number = work.number
    assert [entry.data.get("old_serial") for entry in entries_of(db, number, "tick")][-2:] == ["OLD-7", "OLD-7"]


def test_a_version_that_moved_on_is_stale_for_the_count_and_the_close_and_a_repeat_is_not(db: Database) -> None:
    with db.write() as session:
        work = kitted_work(session)
        work.teardown()
        work.refit()
        work.shop.at(5)
        seen = work.job.version
        with pytest.raises(Stale):
            close.sign_count(session, work.number, seen - 1, **work.stamp())
        signed = work.stamp()
        close.sign_count(session, work.number, seen, **signed)
        close.sign_count(session, work.number, seen, **signed)
        work.pass_tests()
        settings = work.shop.settings
        with pytest.raises(Stale):
            close.close_job(session, work.number, seen, settings, **work.stamp())
        closed, version = work.stamp(), work.job.version
        first = close.close_job(session, work.number, version, settings, **closed)
        again = close.close_job(session, work.number, version, settings, **closed)
        assert (again.parts.total, again.labour, again.bench.total_s) == (
            first.parts.total, first.labour, first.bench.total_s,
        )  # fmt: skip


def test_an_override_is_for_what_is_wrong_and_of_its_kind(db: Database) -> None:
    with db.write() as session:
        work = kitted_work(session)
        tick(work, "down", "warm")

        def override(scope: str, reason: str = "It cannot be found") -> None:
            close.override(session, work.number, scope, reason, SUPERVISOR, **work.stamp())

        for scope, words in (("final", "still to do"), ("cover", "nothing to override")):
            with pytest.raises(Refused, match=words):
                override(scope)
        for step in work.job.state.teardown[1:]:
            tick(work, "down", step)
        tick(work, "turn", "")
        with pytest.raises(Refused, match="3 refit steps are still to do"):
            work.sign()
        work.refit(but=("back",))
        work.report("lost", "back/screws", count=1)
        with pytest.raises(Refused, match="few words"):
            override("cover", "cannot find")
        override("cover")
        assert set(work.job.state.waived) == {"back"}
        assert stage(work) is Stage.REFIT
        assert work.job.overridden


def test_a_count_that_does_not_agree_is_signed_by_nobody(db: Database) -> None:
    with db.write() as session:
        work = kitted_work(session)
        work.teardown()
        work.refit()
        work.report("leftover", count=2)
        work.shop.at(5)
        before = entries(work)
        with pytest.raises(Refused, match=r"does not balance\. 2 pieces left over"):
            work.sign()
        close.override(session, work.number, "final", "Found in the tray", SUPERVISOR, **work.stamp())
        assert (stage(work), work.job.overridden, entries(work)) == (Stage.COUNTED, True, before + 1)


def test_a_tick_that_comes_again_after_it_was_taken_back_is_not_made_once_more(db: Database) -> None:
    with db.write() as session:
        work = kitted_work(session)
        stamp = work.stamp()
        tick(work, "down", "warm", **stamp)
        bench.undo(session, work.number, last_tick(work), **work.stamp())
        before, version = entries(work), work.job.version
        tick(work, "down", "warm", **stamp)
        assert (entries(work), work.job.version, work.job.state.down) == (before, version, ())
        tick(work, "down", "warm")
        assert work.job.state.down == ("warm",)


def test_a_second_signature_is_that_of_a_second_person(db: Database) -> None:
    with db.write() as session:
        work = kitted_work(session)
        with pytest.raises(Refused, match="after the closing count"):
            work.test("power", accepted=True)
        work.teardown()
        work.refit()
        work.shop.at(5)
        work.sign()
        for second in (None, TECHNICIAN):
            with pytest.raises(Refused, match="A second person signs"):
                close.record_test(session, work.number, "leak", reading=Decimal(2), second=second, **work.stamp())
        with pytest.raises(Refused, match="not due"):
            work.test("gone", accepted=True)
        with pytest.raises(Refused, match="Still to test"):
            close.close_job(session, work.number, work.job.version, work.shop.settings, **work.stamp())
        work.pass_tests()
        assert stage(work) is Stage.TESTED


def test_a_job_is_locked_once_in_a_transaction_and_read_anew_in_the_next(db: Database) -> None:
    with db.write() as session:
        work = kitted_work(session)
        number, stamp = work.number, work.stamp()
    with db.write() as session:
        seen = Bench(session, number).job.version
        bench.tick(session, number, "down", "warm", **stamp)
        assert Bench(session, number).job.version == seen + 1
    with db.write() as session, pytest.raises(Stale):
        Bench(session, number, seen)
