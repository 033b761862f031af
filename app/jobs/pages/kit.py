"""The kit of a job as stores sees it: the pick list, and what was handed out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from sqlmodel import Session

from app.jobs.pages.booking import unit_names
from app.jobs.queries import jobs as queries
from app.jobs.queries import kit as kit_queries
from app.jobs.queries.jobs import JobDetail
from app.jobs.queries.kit import HandedLot, KitRow, KitStandInRow
from app.platform.errors import Refused
from app.platform.forms import Form, blank
from app.procedures import queries as procedures
from app.procedures.queries import ModelInfo
from app.rules.bench import step_numbers
from app.rules.job_flow import check_hand_out
from app.rules.sheet import Sheet
from app.stores import queries as stores
from app.stores.queries import LotRow, Offer, PickInHand, ProposedPick

NO_FORMS: Mapping[str, Form[Any]] = {}


@dataclass(frozen=True)
class LotChoice:
    """A lot that can be picked: ``value`` is lot and location as the form sends them."""

    value: str
    text: str


@dataclass(frozen=True)
class PickLine:
    """One line of the pick list, filled in as proposed or as typed. ``n`` numbers the form's fields.

    ``picked`` says who has it in hand and how it was confirmed; empty while it is still to pick.
    """

    n: int
    part_number: str
    name: str
    unit: str
    location: str
    lot_code: str
    expires_on: date | None
    place: str
    quantity: str
    serials: str
    serial_tracked: bool
    choices: tuple[LotChoice, ...]
    claim_id: int = 0
    storage: str = ""
    picked: str = ""


@dataclass(frozen=True)
class KitPage:
    """The pick list in walk order. ``blocked`` says why nothing can be handed out now; empty when it can.

    ``offers`` are approved alternates of what is short that are free, ``stand_ins`` those that this job has taken.
    ``aside`` are lots that are set aside, by id, with the reason.
    """

    job: JobDetail
    model: ModelInfo
    targets: tuple[str, ...]
    form: Form[Any]
    rows: tuple[KitRow, ...]
    lines: tuple[PickLine, ...]
    short: tuple[KitRow, ...]
    handed: tuple[HandedLot, ...]
    blocked: str
    stores: bool
    today: date
    qr: str = ""
    names: Mapping[str, str] = field(default_factory=dict)
    scan: Form[Any] = field(default_factory=Form)
    spares: Mapping[str, str] = field(default_factory=dict)
    short_form: Form[Any] = field(default_factory=Form)
    back: Form[Any] = field(default_factory=Form)
    alternate: Form[Any] = field(default_factory=Form)
    offers: tuple[Offer, ...] = ()
    stand_ins: tuple[KitStandInRow, ...] = ()
    aside: Mapping[int, str] = field(default_factory=dict)

    @property
    def over(self) -> bool:
        """Whether the job has ended."""
        return self.job.stage not in queries.OPEN_STAGES

    @property
    def complete(self) -> bool:
        """Whether all of the kit is handed out."""
        return not any(row.outstanding for row in self.rows)


def kit_page(
    session: Session,
    number: str,
    form: Form[Any],
    today: date,
    role: str,
    typed: Sequence[Any] = (),
    qr: str = "",
    more: Mapping[str, Form[Any]] = NO_FORMS,
) -> KitPage:
    """Build the kit's page; ``typed`` are the lines of a refused form, shown again as they were sent.

    ``more`` are the page's other forms by name: scan, short_form, back, alternate.
    """
    job = queries.find_job(session, number)
    sheet = procedures.sheet(session, job.revision_id)
    rows = kit_queries.kit(session, job, today)
    waits = {row.part_number: row.outstanding for row in rows if row.outstanding}
    # Proposed is what this job can have: its own promise, and what nobody else is promised.
    can_have = {r.part_number: min(r.outstanding, r.reserved + r.available) for r in rows if r.outstanding}
    aside = stores.quarantined(session)
    lots = [
        lot
        for lot in stores.lots_of(session, waits)
        if (lot.expires_on is None or lot.expires_on >= today) and lot.lot_id not in aside
    ]
    missing = [row.part_number for row in rows if row.outstanding > can_have.get(row.part_number, 0)]
    offers = tuple(o for found in stores.offers(session, missing, today).values() for o in found) if missing else ()
    kept = stores.keepings(session, [row.part_number for row in rows])
    lines = _typed(typed, rows, lots) if typed else _proposed(session, number, rows, lots, can_have, today)
    return KitPage(
        job=job,
        model=procedures.device_model(session, job.device_model_id),
        targets=unit_names(sheet, job.targets),
        form=form,
        rows=rows,
        lines=tuple(
            replace(line, storage=kept[line.part_number].storage) if line.part_number in kept else line
            for line in lines
        ),
        short=tuple(row for row in rows if row.outstanding > can_have.get(row.part_number, 0)),
        handed=kit_queries.handed_lots(session, job.id),
        blocked=_blocked(job, waits),
        stores=role in ("stores", "supervisor"),
        today=today,
        qr=qr,
        names={row.part_number: row.name for row in rows},
        offers=offers,
        stand_ins=kit_queries.stand_ins(session, job.id),
        aside=aside,
        spares=_spares(session, job, sheet, rows),
        **{"alternate": _first_offer(offers, rows), **more},
    )


def _first_offer(offers: Sequence[Offer], rows: Sequence[KitRow]) -> Form[Any]:
    """Return the form of an alternate filled in for the first that is offered: as many as are short and free."""
    for offer in offers:
        short = next(row.short for row in rows if row.part_number == offer.part)
        return blank(pair=f"{offer.part}|{offer.alternate}", alternate_quantity=min(max(short, 1), offer.free))
    return blank()


def _spares(session: Session, job: JobDetail, sheet: Sheet, rows: Sequence[KitRow]) -> dict[str, str]:
    """Say by part number which of a kit's pieces are spares, and for which step of the plan in force."""
    titles = {step.id: step.title for step in sheet.steps}
    numbers = step_numbers(sheet, job.state.teardown)
    found: dict[str, list[str]] = {}
    for part, step, count in kit_queries.plan_in_force(session, job.id, job.state.pass_no).get("spares", ()):
        where = f"step {numbers[step]}, {titles[step]}" if step in numbers else titles.get(step, step)
        found.setdefault(part, []).append(f"{count} spare{'s' if count != 1 else ''} for {where}")
    carried = {row.part_number for row in rows if row.spare}
    return {part: "; ".join(words) for part, words in found.items() if part in carried}


def _blocked(job: JobDetail, waits: Mapping[str, int]) -> str:
    try:
        check_hand_out(kit_queries.standing_of(job, job.state, waits))
    except Refused as refusal:
        return refusal.reason
    return ""


def _proposed(
    session: Session,
    number: str,
    rows: Sequence[KitRow],
    lots: Sequence[LotRow],
    can_have: Mapping[str, int],
    today: date,
) -> tuple[PickLine, ...]:
    """Return what is in pickers' hands and what is still to pick, in the order of the shelves."""
    by_part = {row.part_number: row for row in rows}
    waits = {row.part_number: row.outstanding for row in rows if row.outstanding}
    held, lines = kit_queries.still_to_pick(session, number, waits, today, can_have)
    found: list[tuple[tuple[int, str, str], PickInHand | ProposedPick]] = [
        *(((pick.walk_order, pick.location, pick.part_number), pick) for pick in held if pick.part_number in by_part),
        *(((line.walk_order, line.location_code, line.part_number), line) for line in lines),
    ]
    found.sort(key=lambda pair: pair[0])
    return tuple(_shown(n, by_part, lots, pick) for n, (_place, pick) in enumerate(found))


def _shown(n: int, by_part: Mapping[str, KitRow], lots: Sequence[LotRow], pick: PickInHand | ProposedPick) -> PickLine:
    line = _line(
        n, by_part[pick.part_number], lots, f"{pick.lot_id}:{pick.location_id}", str(pick.quantity),
        " ".join(pick.serials),
    )  # fmt: skip
    if isinstance(pick, ProposedPick):
        return line
    how = "by scan" if pick.scanned else "typed"
    return replace(
        line,
        claim_id=pick.id,
        picked=f"Picked by {pick.who or 'somebody'}, {how}",
        lot_code=pick.lot_code,
        expires_on=pick.expires_on,
        location=pick.location,
    )


def _typed(typed: Sequence[Any], rows: Sequence[KitRow], lots: Sequence[LotRow]) -> tuple[PickLine, ...]:
    by_part = {row.part_number: row for row in rows}
    return tuple(
        _line(n, by_part[t["part"]], lots, t["place"], t["quantity"], t["serials"])
        for n, t in enumerate(typed)
        if t["part"] in by_part
    )


def _line(n: int, row: KitRow, lots: Sequence[LotRow], place: str, quantity: str, serials: str) -> PickLine:
    mine = [lot for lot in lots if lot.part_number == row.part_number]
    chosen = next((lot for lot in mine if f"{lot.lot_id}:{lot.location_id}" == place), None)
    return PickLine(
        n=n,
        part_number=row.part_number,
        name=row.name,
        unit=row.unit,
        location=chosen.location if chosen else row.location,
        lot_code=chosen.code if chosen else "",
        expires_on=chosen.expires_on if chosen else None,
        place=place,
        quantity=quantity,
        serials=serials,
        serial_tracked=row.serial_tracked,
        choices=tuple(LotChoice(f"{lot.lot_id}:{lot.location_id}", _lot_words(lot)) for lot in mine),
    )


def _lot_words(lot: LotRow) -> str:
    expiry = f", use by {lot.expires_on:%-d %b %Y}" if lot.expires_on else ""
    return f"{lot.code}{expiry}: {lot.on_hand} at {lot.location}"
