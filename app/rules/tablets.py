"""Bench tablets: where a PIN is taken, under which right a late tap counts, when a contact is worth a note."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from app.rules.verdict import Refused

# A tap's time is worked out from the tablet's clocks and is trusted to within this; see the rules of the tap clock.
TRUSTED_WITHIN = timedelta(minutes=5)
# A cut may outlast a sign-in; a tablet that nobody signed in on for longer than this is not at a bench any more.
AFTER_EXPIRY = timedelta(hours=24)
CONTACT_EVERY = timedelta(seconds=20)

ENROL_FIRST = (
    "PINs are taken on enrolled tablets alone, and this one is not enrolled. Ask a supervisor to open People, "
    "Tablets and make a code; then enter the code on this tablet."
)


@dataclass(frozen=True)
class TapStanding:
    """How things stand with the sign-in that a tap was made under.

    ``at_bench`` is whether the person's role still works at the bench; ``tablet_revoked`` whether the tablet it was
    tapped on, or the one that sends it, is revoked.
    """

    active: bool
    at_bench: bool
    revoked: bool
    tablet_revoked: bool
    signed_out_at: datetime | None
    expires_at: datetime


def right_ended(name: str, standing: TapStanding) -> str:
    """Return why nothing under this right is applied any more, in words; empty when the right stands."""
    if not standing.active:
        return f"{name} has been deactivated since. Somebody must look at what was tapped and settle it."
    if standing.tablet_revoked:
        return "This tablet has been revoked. Somebody must look at what was tapped and settle it."
    if standing.revoked:
        return f"The sign-in of {name} that this was tapped under has been ended. Somebody must settle it."
    if not standing.at_bench:
        return f"{name} no longer works at the bench. Somebody must look at what was tapped and settle it."
    return ""


def tap_refusal(name: str, standing: TapStanding, tapped_at: datetime) -> str:
    """Return why a tap made at ``tapped_at`` is kept as a question instead of applied; empty when it counts.

    A person who signed out keeps the right for what was tapped before, within the five minutes to which a tap's
    time is trusted. A sign-in that ran out during a cut keeps it for a day.
    """
    ended = right_ended(name, standing)
    if ended:
        return ended
    if standing.signed_out_at is not None and tapped_at > standing.signed_out_at + TRUSTED_WITHIN:
        return f"This was tapped after {name} had signed out. Somebody must say whose it is."
    if tapped_at > standing.expires_at + AFTER_EXPIRY:
        return f"This was tapped long after the sign-in of {name} had run out. Somebody must say whose it is."
    return ""


def check_pin_place(*, pin: bool, enrolled: bool, demo: bool) -> None:
    """Refuse a PIN anywhere but on an enrolled tablet; the demo workshop takes it anywhere.

    Six digits are few: what guards them is that they are of use in the workshop alone. Passphrases are long enough
    for any machine.
    """
    if pin and not enrolled and not demo:
        raise Refused(ENROL_FIRST)


def contact_due(
    seen_at: datetime | None, seen_waiting: int, at: datetime, waiting: int, every: timedelta = CONTACT_EVERY
) -> bool:
    """Whether a tablet's contact at ``at`` is written down, so that a tick seldom costs a second write.

    It is when the last note is older than ``every``, or when entries begin or cease to wait.
    """
    return seen_at is None or at - seen_at >= every or (waiting > 0) != (seen_waiting > 0)
