"""One place counted out or back in by itself, and taken back again."""

from datetime import datetime

from sqlmodel import Session

from app.jobs.actions.bench import Bench, must_be_mine, strike, tick_data, write_fitted, write_scrap
from app.jobs.actions.record import AlreadyStored, known_event, record
from app.jobs.models import KitLot
from app.jobs.queries.bench import find_event, kit_lots, lots_in_hand, pocket_numbers
from app.platform.submissions import content_hash
from app.rules import bench, places
from app.rules.counting import turned_sign


def set_place(
    session: Session,
    number: str,
    item: str,
    place: int,
    side: str,
    on: bool,
    *,
    at: datetime,
    who: int,
    event_id: str,
) -> None:
    """Count one place of an item out (side down) or back (side up), or take that back (``on`` false).

    ``item`` is ``step/fixing``, ``place`` its number on the drawing, from 1. Raises Refused, or PartsMissing when a
    new piece goes in there that was not handed out. The same event again is answered quietly; the same id with other
    content raises Conflict.
    """
    digest = content_hash(["place", number, item, place, side, on])
    work = Bench(session, number)
    if known_event(session, event_id, digest):
        return
    work.must_be_at_work()
    must_be_mine(work, who)
    try:
        if on:
            _count(work, item, place, side, at, who, event_id, digest)
        else:
            _take_back(work, item, place, side, at, who, event_id, digest)
    except AlreadyStored:
        return


def _count(work: Bench, key: str, place: int, side: str, at: datetime, who: int, event_id: str, digest: str) -> None:
    session, state, sheet = work.session, work.state, work.sheet
    step = places.check(work.items, key, place, side).step
    lots: dict[str, list[KitLot]] = {}
    if side == "down":
        outcome = places.count_out(sheet, work.items, state, key, place)
    else:
        cover = None
        if step in state.refit:
            cover = bench.count_before_cover(sheet, work.items, state, step, pocket_numbers(sheet, state.teardown))
        lots = kit_lots(session, work.job.id)
        in_hand = lots_in_hand(session, work.job.id, lots)
        outcome = places.count_back(sheet, work.items, state, key, place, in_hand, at, cover)
    data = {**tick_data(side, outcome, ""), "item": key, "place": place, "on": True}
    record(session, work.job, kind="place", at=at, who=who, event_id=event_id, step=step, data=data, digest=digest)
    write_scrap(session, work, outcome, event_id)
    write_fitted(session, work.job, lots, outcome.fitted, step, event_id)


def _take_back(
    work: Bench, key: str, place: int, side: str, at: datetime, who: int, event_id: str, digest: str
) -> None:
    session = work.session
    counted = find_event(session, work.job.id, places.entry_to_take_back(work.items, work.state, key, place, side))
    assert counted is not None, "the state names an entry that is not in the record"
    data = {
        "side": side,
        "effect": turned_sign(counted.data.get("effect", {})),
        "item": key,
        "place": place,
        "on": False,
    }
    record(
        session, work.job, kind="place", at=at, who=who, event_id=event_id, step=counted.step,
        data=data, undoes=counted.event_id, digest=digest,
    )  # fmt: skip
    strike(session, work.job, counted)
