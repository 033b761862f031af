"""Picking a kit line by line, and bringing back what is not used: before, during and after the work."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime

from sqlmodel import Session, col, select

from app.jobs.actions.hold import show_shortage
from app.jobs.actions.record import known_event, load_job, record
from app.jobs.models import Job, KitLine, KitLot
from app.jobs.queries.bench import state_of
from app.jobs.queries.kit import outstanding, source_ref, standing_of, still_to_pick, to_hand_out
from app.platform.errors import NotFound, Refused
from app.platform.submissions import content_hash
from app.rules import job_flow
from app.stores import actions as stores
from app.stores import queries as shelf
from app.stores.actions import Pick
from app.stores.queries import ProposedPick


def _open(session: Session, number: str) -> tuple[Job, Mapping[str, int]]:
    """Load a job that may be handed parts, with what it still needs. Raises Refused."""
    job = load_job(session, number)
    waits = to_hand_out(session, job.id or 0)
    job_flow.check_hand_out(standing_of(job, state_of(job), waits))
    return job, waits


def pick_by_scan(
    session: Session,
    number: str,
    code: str,
    quantity: int | None = None,
    *,
    any_lot: bool = False,
    at: datetime,
    who: int,
    today: date,
) -> None:
    """Confirm a line of the pick list by what was scanned or typed: the line is the picker's from now on.

    Without a quantity the whole line is taken, of a part tracked by serial the piece that the label names. Refused
    when the part is not wanted, is picked already, or the lot is not the one that expires first; ``any_lot`` takes
    the scanned lot all the same.
    """
    _job, waits = _open(session, number)
    named = shelf.scanned_part(session, code, today)
    if named.part_number not in waits:
        raise Refused(f"{named.part_number} is not wanted for this job, or all of it is handed out.", "code")
    stores.lock(session, [named.part_number])
    held, lines = still_to_pick(session, number, waits, today)
    mine = [line for line in lines if line.part_number == named.part_number]
    if not mine:
        other = next((pick for pick in held if pick.part_number == named.part_number), None)
        if other is not None:
            raise Refused(f"{named.part_number} is picked already by {other.who or 'somebody'}.", "code")
        raise Refused(f"None of {named.part_number} can be had now. It stands under Short.", "code")
    line = _line_of(session, mine, named.lot, waits, any_lot)
    serials = (named.serial,) if named.serial else ()
    if serials and line.serial_tracked:
        quantity = 1
    pick = Pick(line.part_number, line.lot_id, line.location_id, quantity or line.quantity, serials)
    scanned = bool(named.lot)
    stores.claim_pick(
        session, source_ref(number), pick, waits[line.part_number], scanned=scanned, at=at, who=who, today=today
    )  # fmt: skip


def _line_of(
    session: Session, mine: Sequence[ProposedPick], lot: str, waits: Mapping[str, int], any_lot: bool
) -> ProposedPick:
    first = mine[0]
    if not lot:
        return first
    same = next((line for line in mine if line.lot_code.lower() == lot.lower()), None)
    if same is not None:
        return same
    places = [row for row in shelf.lots_of(session, [first.part_number]) if row.code.lower() == lot.lower()]
    if not places:
        raise Refused(f"The book has no lot {lot} of {first.part_number} on a shelf. Count the place.", "code")
    if not any_lot:
        until = f", last day {first.expires_on:%-d %b %Y}" if first.expires_on else ""
        raise Refused(
            f"Take lot {first.lot_code} at {first.location_code} first{until}. If it cannot be had, tick "
            "'Take this lot all the same' and scan again.",
            "code",
        )
    place = places[0]
    wanted = min(place.on_hand, sum(line.quantity for line in mine))
    return ProposedPick(first.part_number, place.lot_id, place.location_id, wanted, serial_tracked=first.serial_tracked)


def pick_short(
    session: Session, number: str, pick: Pick, found: int, reason: str, *, at: datetime, who: int, today: date
) -> None:
    """Take what is there of a line and say why it is fewer; the place is put up for counting."""
    _job, waits = _open(session, number)
    stores.lock(session, [pick.part_number])
    stores.note_short_pick(session, source_ref(number), pick, found, reason, at=at, who=who)
    if found:
        part = Pick(pick.part_number, pick.lot_id, pick.location_id, found)
        stores.claim_pick(
            session, source_ref(number), part, waits.get(pick.part_number, 0), scanned=False, at=at, who=who,
            today=today,
        )  # fmt: skip


def put_back(session: Session, number: str, claim_id: int, *, at: datetime, who: int) -> None:
    """Put a picked line back on the shelf before it was handed out."""
    stores.put_back_pick(session, source_ref(number), claim_id, at=at, who=who)


def check_others_picks(session: Session, number: str, picks: Sequence[Pick], waits: Mapping[str, int]) -> None:
    """Refuse a hand-out that takes from the shelf what a picker already has in hand for the same job."""
    places = {(pick.lot_id, pick.location_id) for pick in picks}
    total: dict[str, int] = {}
    for pick in picks:
        total[pick.part_number] = total.get(pick.part_number, 0) + pick.quantity
    for held in shelf.picks_in_hand(session, source_ref(number)):
        if (held.lot_id, held.location_id) in places:
            continue
        total[held.part_number] = total.get(held.part_number, 0) + held.quantity
        if held.part_number in {p.part_number for p in picks} and total[held.part_number] > waits[held.part_number]:
            raise Refused(
                f"{held.part_number}: {held.who or 'somebody'} has picked {held.quantity} of lot {held.lot_code} for "
                "this job meanwhile. Reload the page, and hand those out.",
                f"quantity-{held.part_number}",
            )


def give_back(
    session: Session,
    number: str,
    lot_id: int,
    quantity: int,
    reason: str,
    serials: Sequence[str] = (),
    *,
    at: datetime,
    who: int,
    event_id: str,
    today: date,
) -> None:
    """Bring pieces of a kit back to the shelf that are not used; what the job still needs of them is reserved anew.

    Refused for more than is unused, without a reason, for serials that were not handed out, and after the end.
    """
    reason = " ".join(reason.split())
    digest = content_hash(["kit returned", number, lot_id, quantity, reason, list(serials)])
    job = load_job(session, number)
    if known_event(session, event_id, digest):
        return
    job_flow.check_hand_out(standing_of(job, state_of(job), {}))
    row = session.exec(select(KitLot).where(col(KitLot.job_id) == job.id, col(KitLot.lot_id) == lot_id)).first()
    if row is None:
        raise NotFound(f"lot {lot_id} in the kit of {number}")
    unused = row.issued - row.fitted - row.spoiled - row.returned
    if not 1 <= quantity <= unused:
        raise Refused(f"{unused} of lot {row.lot_code} are unused. Enter 1 to {unused}.", "back_quantity")
    if not reason:
        raise Refused("Say why it comes back. The reason stays with the movement.", "back_reason")
    if row.serials and (len(set(serials)) != quantity or not set(serials) <= set(row.serials)):
        raise Refused(f"Name the {quantity} serials that come back, as they were handed out.", "back_serials")
    row.serials = [serial for serial in row.serials if serial not in set(serials)]
    row.returned += quantity
    line = session.exec(
        select(KitLine).where(col(KitLine.job_id) == job.id, col(KitLine.part_number) == row.part_number)
    ).one()
    line.returned += quantity
    session.add(row)
    session.add(line)
    session.flush()
    source = source_ref(number)
    stores.take_back(session, source, [(lot_id, quantity)], entry_id=event_id, at=at, who=who, reason=reason)
    data = {"back": [[row.part_number, lot_id, row.lot_code, quantity, list(serials)]], "reason": reason}
    record(session, job, kind="kit returned", at=at, who=who, event_id=event_id, data=data, digest=digest)
    _reserve_again(session, job, row.part_number, at=at, who=who, event_id=event_id, today=today)


def _reserve_again(
    session: Session, job: Job, part: str, *, at: datetime, who: int, event_id: str, today: date
) -> None:
    source = source_ref(job.number)
    waits = outstanding(session, job.id or 0)
    missing = waits.get(part, 0) - shelf.reserved_for(session, source).get(part, 0)
    if missing > 0:
        stores.reserve(session, source, {part: missing}, entry_id=event_id, at=at, who=who, today=today)
    promised = shelf.reserved_for(session, source)
    short = {number: n - promised.get(number, 0) for number, n in waits.items() if n > promised.get(number, 0)}
    show_shortage(session, job, short, at=at, who=who, event_id=event_id)
