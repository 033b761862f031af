"""The chain of a job's record: each entry's hash stands on the one before it."""

import hashlib
from datetime import UTC

from app.platform.submissions import canonical
from app.rules.counting import Event


def chain_hash(previous: str, event: Event, sequence: int) -> str:
    """Return SHA-256 over the previous hash and the event's canonical JSON (RFC 8785): edits break the chain."""
    content = {
        "sequence": sequence,
        "event_id": event.event_id,
        "kind": event.kind,
        "person": event.person,
        "at": event.at.astimezone(UTC).isoformat(),
        "step": event.step,
        "data": event.data,
        "undoes": event.undoes,
    }
    return hashlib.sha256(previous.encode() + canonical(content)).hexdigest()
