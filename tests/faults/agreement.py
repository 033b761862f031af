"""Whether a database agrees with the ledger outside of it: nothing lost, nothing doubled, the counts as tapped.

What the counts have to be is worked out here from the taps alone, in a few lines of its own that know the field
recorder; none of the app's rules is asked.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import yaml
from sqlalchemy import text
from sqlmodel import col, select

from app.jobs.models import BenchEvent, Job, Photo
from app.jobs.queries.faults import bench_faults
from app.platform.db import Database
from app.stores.queries import stock_faults
from tests.faults.ledger import Ledger
from tests.jobs.sheets import TEXT

STEPS: Mapping[str, Any] = {step["id"]: step for step in yaml.safe_load(TEXT)["steps"]}


@dataclass
class Agreement:
    """What was found. ``lost`` was acknowledged and is not there, ``doubled`` is there or counted more than once."""

    tapped: int = 0
    acknowledged: int = 0
    stored: int = 0
    lost: list[str] = field(default_factory=list)
    doubled: list[str] = field(default_factory=list)
    other: list[str] = field(default_factory=list)

    @property
    def sound(self) -> bool:
        """Nothing is lost, doubled or otherwise at odds."""
        return not (self.lost or self.doubled or self.other)


def compare(db: Database, ledger: Ledger, settled: bool, alone: bool = True) -> Agreement:
    """Compare all that came from tablets with the ledger.

    ``settled`` means that nothing waits any more, so that everything tapped must be there; ``alone`` that each job had
    one tablet, so that everything must be booked as what it is and in the order of the taps.
    """
    # The answers are read before the database and the taps after it: what comes in meanwhile accuses nobody.
    answers = ledger.answers()
    with db.read() as session:
        event = BenchEvent
        columns: tuple[Any, ...] = (event.event_id, event.kind, event.device_id, event.device_sequence)
        query: Any = select(*columns).where(col(event.device_id).is_not(None)).order_by(col(event.id))
        rows = session.exec(query).all()
        states = {job.number: job.bench for job in session.exec(select(Job)).all()}
        pictures = Counter(session.exec(select(Photo.event_id).where(col(Photo.event_id).is_not(None))).all())
    taps = ledger.taps()
    found = Agreement(len(taps), len(answers), len(rows))
    times = Counter(row[0] for row in rows)
    found.lost = [i for i in answers if not times[i]]
    found.doubled = [i for i, n in times.items() if n > 1]
    found.other += [f"{i} was never tapped" for i in times if i not in taps]
    if settled:
        found.other += [f"{i} was tapped, nothing waits, and it is not there" for i in taps if not times[i]]
    kept = {row[0]: row[1] for row in rows}
    for entry_id, outcome in answers.items():
        if entry_id in kept and outcome != (kept[entry_id] if kept[entry_id] in ("also", "question") else "stored"):
            found.other.append(f"{entry_id} was answered {outcome} and is kept as {kept[entry_id]}")
    if alone:
        found.other += [f"{i} became a {kind}" for i, kind in kept.items() if kind in ("also", "question")]
    found.other += _numbers(rows)
    _counts([taps[row[0]] for row in rows if row[0] in taps], kept, states, found)
    for entry_id, entry in taps.items():
        if entry["kind"] == "photo" and entry_id in times and pictures[entry_id] != 1:
            found.doubled.append(f"{entry_id} has {pictures[entry_id]} pictures")
    return found


def _numbers(rows: Iterable[Any]) -> Iterable[str]:
    """Each tablet's entries came in the order of its count, with none left out."""
    by_tablet: dict[str, list[int]] = defaultdict(list)
    for _id, _kind, device, sequence in rows:
        by_tablet[device].append(sequence)
    for device, numbers in by_tablet.items():
        if numbers != list(range(1, len(numbers) + 1)):
            yield f"tablet {device} arrived as {numbers[:40]}"


def _counts(
    taps: Iterable[Mapping[str, Any]], kept: Mapping[str, str], states: Mapping[str, Any], found: Agreement
) -> None:
    """Work out from the taps what has to be counted, and compare it with what is."""
    by_job: dict[str, list[Mapping[str, Any]]] = defaultdict(list)
    for tap in taps:
        if kept[tap["id"]] not in ("also", "question"):
            by_job[tap["job"]].append(tap)
    for number, own in by_job.items():
        steps, places = _standing(own)
        state = states[number]
        for side in ("down", "up"):
            if Counter(state[side]) != Counter(steps[side]):
                kind = found.doubled if max(Counter(state[side]).values(), default=0) > 1 else found.other
                kind.append(f"{number} {side}: {state[side]}, tapped {steps[side]}")
        for step in state["teardown"]:
            for fixing in STEPS[step].get("releases", ()):
                item = f"{step}/{fixing['id']}"
                out = fixing["count"] if step in steps["down"] else len(places["down", item])
                back = fixing["count"] if step in steps["up"] else len(places["up", item])
                count = _item(state["items"].get(item))
                if (count["out"], count["refitted"] + count["new"]) != (out, back):
                    where = (
                        found.doubled if count["out"] > out or count["refitted"] + count["new"] > back else found.other
                    )
                    where.append(f"{number} {item}: {count}, tapped {out} out and {back} back")


FIELDS = ("baseline", "absent", "out", "planned", "damaged", "refitted", "new", "spoiled", "lost")


def _item(stored: Iterable[int] | None) -> dict[str, int]:
    return dict(zip(FIELDS, stored or (0,) * len(FIELDS), strict=True))


def _standing(taps: Iterable[Mapping[str, Any]]) -> tuple[dict[str, list[str]], dict[tuple[str, str], set[int]]]:
    """Return the steps that stand ticked on each side, and the places counted one by one, after these taps."""
    ticks: dict[str, tuple[str, str]] = {}
    places: dict[tuple[str, str], set[int]] = defaultdict(set)
    for tap in taps:
        data = tap["data"]
        if tap["kind"] == "tick":
            ticks[tap["id"]] = (tap["side"], tap["step"])
        elif tap["kind"] == "undo":
            ticks.pop(data["undoes"], None)
        elif tap["kind"] == "place":
            one = places[tap["side"], data["item"]]
            one.add(data["place"]) if data["on"] else one.discard(data["place"])
    steps = {side: [step for at, step in ticks.values() if at == side] for side in ("down", "up")}
    return steps, places


def project_faults(db: Database) -> list[str]:
    """Return what the project's own check of jobs and stock finds, and on SQLite the integrity check of the file."""
    with db.read() as session:
        found = [*stock_faults(session), *bench_faults(session)]
    return found + integrity_faults(db)


def integrity_faults(db: Database) -> list[str]:
    """Return what SQLite's own checks of the file find; nothing on PostgreSQL."""
    if not db.is_sqlite:
        return []
    with db.engine.connect() as connection:
        rows = [str(row[0]) for row in connection.execute(text("PRAGMA integrity_check"))]
        broken = [str(tuple(row)) for row in connection.execute(text("PRAGMA foreign_key_check"))]
    return [row for row in rows if row != "ok"] + broken
