"""How a draft becomes a published revision, and who may take which step. States are the plain words stored."""

from dataclasses import dataclass

from app.rules.verdict import Refused

WRITING, CHECKING, PUBLISHED, DROPPED = "in writing", "to be checked", "published", "dropped"


@dataclass(frozen=True)
class DraftStanding:
    """Where a draft stands: its state, who sent it to be checked and who wrote to it last (person ids)."""

    state: str
    sent_by: int | None = None
    saved_by: int | None = None


def check_writable(standing: DraftStanding) -> None:
    """Refuse a change to a draft that is being checked, published or dropped."""
    if standing.state == CHECKING:
        raise Refused("This draft is being checked, so it stays as it was sent. Take it back to write on.")
    if standing.state == PUBLISHED:
        raise Refused("This draft is published. Write the next revision instead.")
    if standing.state == DROPPED:
        raise Refused("This draft was dropped. Take it up again to write on.")


def check_sending(standing: DraftStanding, problems: int, questions: int) -> None:
    """Refuse to send a draft to be checked while anything about it is to be mended or still asked."""
    check_writable(standing)
    if problems:
        things = "1 thing is" if problems == 1 else f"{problems} things are"
        raise Refused(f"{things} to be mended before anybody checks this draft. They are listed on this page.")
    if questions:
        asked = "1 question is" if questions == 1 else f"{questions} questions are"
        raise Refused(f"{asked} still open. Answer each, then mark it as settled.")


def check_taking_back(standing: DraftStanding) -> None:
    """Refuse to take a draft back that is not with a checker."""
    if standing.state != CHECKING:
        raise Refused("This draft is not being checked, so there is nothing to take back.")


def may_check(standing: DraftStanding, who: int) -> str | None:
    """Return why this person may not check the draft, or None when they may.

    Doer and checker are two people: neither who sent it nor who wrote to it last may check it.
    """
    if standing.state != CHECKING:
        return "This draft is not waiting to be checked."
    if who == standing.sent_by:
        return "You sent this draft to be checked, so another supervisor checks it."
    if who == standing.saved_by:
        return "You wrote to this draft last, so another supervisor checks it."
    return None


def check_checking(standing: DraftStanding, who: int) -> None:
    """Refuse a check by somebody who may not."""
    reason = may_check(standing, who)
    if reason:
        raise Refused(reason)


def check_sending_back(standing: DraftStanding, who: int, remarks: str) -> None:
    """Refuse to send a draft back without saying why."""
    check_checking(standing, who)
    if not remarks.strip():
        raise Refused("Say what is to be changed, so that the writer can do it.", "remarks")


def check_dropping(standing: DraftStanding) -> None:
    """Refuse to drop a draft that is with a checker or was published."""
    check_writable(standing)


def check_taking_up(standing: DraftStanding) -> None:
    """Refuse to take up again what was never dropped."""
    if standing.state != DROPPED:
        raise Refused("This draft was not dropped.")


def next_number(newest: int | None) -> int:
    """Return the number of the revision a draft would become."""
    return 1 if newest is None else newest + 1
