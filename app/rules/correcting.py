"""Correcting what was written down at the counter: who may, what changes, and a serial that two open jobs have.

A correction is a new entry with the old and the new value; the entry that was wrong stays as it was written.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

from app.rules.job_flow import ENDED
from app.rules.verdict import Refused

CORRECTED: Final[Mapping[str, str]] = MappingProxyType({"serial": "Serial", "owner_ref": "Owner"})
"""What can be corrected, with its name on the page."""

OTHER_DEVICE: Final[Mapping[str, str]] = MappingProxyType(
    {
        "mistyped": "The serial of the open job was mistyped",
        "shared label": "Two devices carry the same serial",
    }
)
"""Why a second device is booked in with a serial that an open job has already: value, words."""


@dataclass(frozen=True, slots=True)
class Change:
    """One value that is corrected: ``field`` is one of ``CORRECTED``."""

    field: str
    before: str
    after: str


def check_correction(
    stage: str,
    before: Mapping[str, str],
    after: Mapping[str, str],
    reason: str,
    *,
    mine: bool,
    supervisor: bool,
) -> tuple[Change, ...]:
    """Return what a correction changes; ``mine`` is whether the person booked the device in.

    Raises Refused when the record is sealed, for anybody but a supervisor or the one who booked in, without a reason
    in words, or when nothing differs.
    """
    if stage in ENDED:
        raise Refused(f"This job is {stage} and its record is sealed. Write what was wrong into the device's next job.")
    if not (mine or supervisor):
        raise Refused("Whoever booked the device in corrects this, or a supervisor. Ask one of them.")
    changes = tuple(
        Change(name, before[name], after[name]) for name in CORRECTED if name in after and after[name] != before[name]
    )
    if not changes:
        raise Refused("Nothing differs from what is written down. Change the serial or the owner first.")
    if len(reason.split()) < 3:
        raise Refused("Say in a few words what was wrong and how you know.", "reason")
    return changes


def check_same_serial(open_jobs: Sequence[str], said: str) -> None:
    """Refuse a serial that open jobs have already, unless it is stated why this is another device."""
    if not open_jobs or said in OTHER_DEVICE:
        return
    jobs = f"Job {open_jobs[0]} is" if len(open_jobs) == 1 else f"Jobs {', '.join(open_jobs)} are"
    raise Refused(
        f"{jobs} open with this serial. Is it the same device? Then go on with that job. "
        "If it is another one, choose why both have the serial.",
        "another_device",
    )


def correction_words(data: Mapping[str, Any]) -> str:
    """Return what a correction says: each new value with the one it takes the place of, and the reason."""
    told = [
        f"{CORRECTED.get(str(name), str(name))} corrected to {after}; it was written as {before}."
        for name, before, after in data.get("changes", ())
    ]
    reason = str(data.get("reason") or "").strip()
    why = reason if reason.endswith((".", "?")) or not reason else f"{reason}."
    return " ".join([*told, why]).strip() or "Booking corrected."
