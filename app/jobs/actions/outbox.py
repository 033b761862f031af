"""What a tablet sends from its outbox: booked as what it is, or kept as also reported or as a question.

Nothing is dropped. An entry is decided against the present state with the time of its tap; one that is refused is
kept in a second transaction, as the first one is rolled back whole.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlmodel import Session

from app.jobs.actions import deeds
from app.jobs.actions.deeds import Deed
from app.jobs.actions.photos import Picture, keep_pictures
from app.jobs.actions.record import AlreadyStored, Stamp, known_event, load_job, record, stamp
from app.jobs.forms import Clocks, OutboxEntry
from app.jobs.models import BenchEvent, Job, Stage
from app.jobs.queries.bench import find_event, pocket_numbers, state_of
from app.jobs.queries.questions import DeviceStanding, device_standing, is_taken_back, pass_began, since
from app.people import actions as people_actions
from app.people import queries as people
from app.people.queries import Tapper
from app.platform.errors import Refused
from app.platform.submissions import content_hash
from app.procedures import queries as procedures
from app.rules import outbox as rules
from app.rules.entry_words import entry_words
from app.rules.sheet import Sheet
from app.rules.tap_clock import Reading, TapTime, tap_time

ENDED = (Stage.CLOSED, Stage.RETURNED)
# A receipt that much later than the tap is worth keeping; less is the network.
LATE = timedelta(seconds=30)
STORED = "Stored."


@dataclass(frozen=True)
class Answer:
    """What became of an entry: ``outcome`` is stored, also or question; ``clock`` ok, skew or aside.

    ``expects`` is the tablet's number that comes next, ``gap`` what is missing before this one.
    """

    id: str
    outcome: str
    words: str
    version: int
    expects: int
    gap: tuple[int, int] | None
    received_ms: int
    clock: str


@dataclass(frozen=True)
class SentPhoto:
    """A photo that came with an entry, ready to be kept; ``sha256`` is of the file as it was sent."""

    picture: Picture
    sha256: str


@dataclass(frozen=True)
class Received:
    """An entry as it was received: whose it is, when, the tablet's count, and when it was tapped."""

    entry: OutboxEntry
    tapper: Tapper
    at: datetime
    device: DeviceStanding
    tapped: TapTime
    digest: str
    event_id: str
    device_id: str


def receive(
    session: Session, entry: OutboxEntry, tapper: Tapper, at: datetime, photo: SentPhoto | None = None
) -> Received:
    """Work out when an entry was tapped and have it stamped, whichever action records it."""
    event_id, device_id = str(entry.id), str(entry.device)
    device = device_standing(session, device_id, entry.seq)
    tapped = tap_time(_reading(entry), _reading(entry.sent), at, device.below_at)
    digest = content_hash(entry.content() | ({"photo": photo.sha256} if photo else {}))
    more: dict[str, Any] = {}
    if tapped.remark:
        more["clock"] = tapped.remark
    if at - tapped.at > LATE:
        more["received"] = at.isoformat()
    stamp(session, Stamp(event_id, digest, device_id, entry.seq, more))
    return Received(entry, tapper, at, device, tapped, digest, event_id, device_id)


def _reading(clocks: Clocks) -> Reading:
    return Reading(clocks.wall_ms, clocks.mono_ms, str(clocks.life))


def book(session: Session, entry: OutboxEntry, tapper: Tapper, at: datetime, photo: SentPhoto | None = None) -> Answer:
    """Book an entry as what it is. Raises Refused when it is to be kept with ``keep`` in a transaction of its own."""
    got = receive(session, entry, tapper, at, photo)
    _note_contact(session, got)
    refused = tapper.refusal(got.tapped.at)
    if refused:
        raise Refused(refused)
    if entry.kind == "photo":
        return _book_photo(session, got, photo)
    _same_pass(session, got)
    said = deeds.do(session, deed_of(entry), at=got.tapped.at, who=tapper.person_id, event_id=got.event_id)
    if _recorded(session):
        return _answer(session, got, "stored", " ".join(said) or STORED)
    return _known(session, got) or _as_also(session, got, rules.ALSO_WORDS[entry.kind])


def deed_of(entry: OutboxEntry) -> Deed:
    """Return what an entry says was done."""
    return Deed(entry.job, entry.kind, entry.side, entry.step, entry.data, takes_over=False)


def _recorded(session: Session) -> bool:
    found: Stamp = session.info["stamp"]
    return bool(found.kind)


def _same_pass(session: Session, got: Received) -> None:
    """Refuse a tick that was tapped before the present pass was planned, unless it is stored already."""
    if got.entry.kind not in ("tick", "turn", "place"):
        return
    job = load_job(session, got.entry.job)
    state = state_of(job)
    if state.pass_no > 1:
        began = pass_began(session, job.id, state.pass_no)
        before = began is not None and got.tapped.at < began
        reason = rules.earlier_pass(state, got.entry.kind, before_plan=before)
        if reason and known_event(session, got.event_id, got.digest) is None:
            raise Refused(reason)


def keep(
    session: Session, entry: OutboxEntry, tapper: Tapper, at: datetime, reason: str, photo: SentPhoto | None = None
) -> Answer:
    """Keep an entry that was refused: as also reported, or as a question. One that is stored by now is answered so."""
    got = receive(session, entry, tapper, at, photo)
    job = load_job(session, entry.job)
    known = _known(session, got)
    if known:
        return known
    _note_contact(session, got)
    state = state_of(job)
    if not tapper.refusal(got.tapped.at):
        target = find_event(session, job.id, entry.data.undoes) if entry.kind in ("undo", "take_back") else None
        if target is not None and target.event_id in state.questions:
            return _withdraw(session, got, job, target)
        repeats = _repeats(session, job, entry, target)
        kept = rules.judge(
            state, entry.kind, entry.side, entry.step, tapper.person_id, reason, repeats=repeats
        )  # fmt: skip
        if kept.kind == "also":
            return _as_also(session, got, kept.words)
    return _as_question(session, got, job, reason, photo)


def _repeats(session: Session, job: Job, entry: OutboxEntry, target: BenchEvent | None) -> bool:
    """Whether an entry only says what is so already, as far as the record alone can tell."""
    if target is not None:
        return target.kind in ("also", "question") or is_taken_back(session, job.id, target.event_id)
    state = state_of(job)
    if entry.kind == "place":
        return rules.place_repeats(state, entry.side, entry.data.item, entry.data.place, on=entry.data.on)
    if entry.kind == "recount" and not state.recount_due:
        sheet = procedures.sheet(session, job.revision_id)
        pockets = {n: state.items[key].waiting for key, n in pocket_numbers(sheet, state.teardown).items()}
        return all(pockets.get(n) == found for n, found in entry.data.counted.items())
    return False


def _withdraw(session: Session, got: Received, job: Job, question: BenchEvent) -> Answer:
    """Take back an entry that is still a question: it is set aside by the one who tapped it."""
    data = {"answers": question.event_id, "reason": "Taken back on the tablet."}
    _write(session, got, job, "set aside", data)
    return _answer(session, got, "stored", "The question this takes back is set aside.")


def _as_also(session: Session, got: Received, words: str) -> Answer:
    job = load_job(session, got.entry.job)
    _write(session, got, job, "also", {"words": words} | _sent(got, job))
    return _answer(session, got, "also", words)


def _as_question(session: Session, got: Received, job: Job, reason: str, photo: SentPhoto | None) -> Answer:
    changed = since(session, job, got.entry.base, got.device_id)
    data: dict[str, Any] = {"reason": reason} | _sent(got, job)
    if changed:
        names = people.names(session)
        sheet = procedures.sheet(session, job.revision_id)
        data["changes"] = [_changed(sheet, names, *one) for one in changed]
    _write(session, got, job, "question", data)
    if photo:
        keep_pictures(
            session, job.id or 0, (photo.picture,), at=got.tapped.at, who=got.tapper.person_id, event_id=got.event_id
        )  # fmt: skip
    return _answer(session, got, "question", reason)


def _sent(got: Received, job: Job) -> dict[str, Any]:
    """Return what of the entry is kept with a row that is not what was meant: enough to try it again."""
    entry = got.entry
    found: dict[str, Any] = {"of": entry.kind, "sent": entry.data.model_dump(mode="json", exclude_defaults=True)}
    if entry.side:
        found["side"] = entry.side
    if job.stage in ENDED:
        found["late"] = True
    return found


def _changed(sheet: Sheet, names: Mapping[int, str], kind: str, step: str, person: int) -> str:
    by = names.get(person, "")
    return entry_words(kind, sheet.step_title(step)) + (f", {by}" if by else "")


def _write(session: Session, got: Received, job: Job, kind: str, data: Mapping[str, Any]) -> None:
    record(
        session, job, kind=kind, at=got.tapped.at, who=got.tapper.person_id, event_id=got.event_id,
        step=got.entry.step or None, data=data,
    )  # fmt: skip


def _book_photo(session: Session, got: Received, photo: SentPhoto | None) -> Answer:
    entry = got.entry
    if photo is None:
        raise Refused("Choose a photo first.", "photo")
    job = load_job(session, entry.job)
    said = entry.data
    data: dict[str, Any] = {"caption": photo.picture.caption, "inspection": said.inspection, "of": said.of}
    if job.stage in ENDED:
        data["late"] = True
    try:
        record(
            session, job, kind="photo", at=got.tapped.at, who=got.tapper.person_id, event_id=got.event_id,
            step=(said.step or entry.step or None), data={k: v for k, v in data.items() if v},
        )  # fmt: skip
    except AlreadyStored:
        known = _known(session, got)
        assert known is not None
        return known
    # It is shown with the report it belongs to, where there is one.
    owner = said.of if said.of and find_event(session, job.id, said.of) else got.event_id
    keep_pictures(
        session, job.id or 0, (photo.picture,), at=got.tapped.at, who=got.tapper.person_id, event_id=owner
    )  # fmt: skip
    return _answer(session, got, "stored", STORED)


def _known(session: Session, got: Received) -> Answer | None:
    """Return the first outcome of an entry that is stored; None when it is not. Conflict when its content differs."""
    row = known_event(session, got.event_id, got.digest)
    if row is None:
        return None
    outcome = row.kind if row.kind in ("also", "question") else "stored"
    words = str(row.data.get("reason" if outcome == "question" else "words", STORED)) if outcome != "stored" else STORED
    return _answer(session, got, outcome, words)


def _answer(session: Session, got: Received, outcome: str, words: str) -> Answer:
    return Answer(
        id=got.event_id,
        outcome=outcome,
        words=words,
        version=load_job(session, got.entry.job).version,
        expects=got.device.expects(got.entry.seq),
        gap=got.device.gap(got.entry.seq),
        received_ms=int(got.at.timestamp() * 1000),
        clock=got.tapped.verdict,
    )


def _note_contact(session: Session, got: Received) -> None:
    """Note what still waits on the tablet once this entry is stored; seldom anything has to be written."""
    entry, tapper = got.entry, got.tapper
    waiting = max(entry.waiting - 1, 0)
    if tapper.tablet_id is None or not tapper.contact_due(got.at, waiting):
        return
    waited = None
    if waiting and entry.waiting_since_ms is not None:
        waited = got.at - timedelta(milliseconds=min(max(entry.sent.wall_ms - entry.waiting_since_ms, 0), 10**12))
    people_actions.note_contact(session, tapper.tablet_id, got.at, waiting, waited)
