"""Whether a job's record is as it was written: its hash chain is made again from the entries and compared."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.jobs.queries.chain import chain_hash
from app.review.queries.record import Linked


@dataclass(frozen=True)
class SealCheck:
    """The outcome: whether the chain holds, since which entry it does not, and what to say about it."""

    holds: bool
    sealed: bool
    broken_at: int | None
    words: str


def check_seal(entries: Sequence[Linked], last_chain: str, last_sequence: int, seal: str) -> SealCheck:
    """Make the chain of a record again and compare it with what the entries and the job carry.

    Each hash is SHA-256 over the hash before it and the entry's canonical JSON (RFC 8785), so a changed, missing
    or added entry shows at its place. ``seal`` is the hash at closing, empty while the job is open.
    """
    previous = ""
    for place, linked in enumerate(entries, start=1):
        previous = chain_hash(previous, linked.event, linked.sequence)
        if linked.sequence != place or previous != linked.chain:
            return SealCheck(
                False,
                bool(seal),
                place,
                f"The record does not verify: entry {place} is not what was written. "
                "Tell your supervisor, and compare with the latest backup.",
            )
    if len(entries) != last_sequence or previous != last_chain:
        return SealCheck(
            False,
            bool(seal),
            len(entries) + 1,
            f"The record does not verify: {last_sequence} entries were written, {len(entries)} are here. "
            "Tell your supervisor, and compare with the latest backup.",
        )
    if not seal:
        return SealCheck(True, False, None, "The entries verify. The record is sealed when the job closes.")
    if seal not in {linked.chain for linked in entries}:
        return SealCheck(False, True, None, "The record does not verify: its seal belongs to none of its entries.")
    return SealCheck(True, True, None, "The record is sealed, and all its entries verify.")
