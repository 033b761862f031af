"""Contexts of the page that tells two revisions apart, or a draft and what it began from."""

from dataclasses import dataclass

from sqlmodel import Session

from app.procedures import queries
from app.procedures.queries import drafts
from app.rules.sheet_difference import Difference, difference


@dataclass(frozen=True)
class ComparePage:
    """What differs. ``old`` and ``new`` name the two sides; ``numbers`` are the revisions there are to choose from."""

    title: str
    code: str
    old: str
    new: str
    difference: Difference
    numbers: tuple[int, ...] = ()
    before: int = 0
    after: int = 0
    back: str = ""


def _document(session: Session, revision_id: int) -> dict[str, object]:
    return queries.sheet(session, revision_id).model_dump(mode="json", exclude_defaults=True)


def compare_page(session: Session, code: str, before: int | None, after: int | None) -> ComparePage:
    """Compare two revisions; the newest with the one before it where none are named. NotFound for unknown ones."""
    known = {info.number: info for info in queries.revisions(session, code)}
    numbers = tuple(sorted(known))
    to = after if after is not None else numbers[-1]
    earlier = [n for n in numbers if n < to]
    since = before if before is not None else (earlier[-1] if earlier else to)
    old, new = queries.find_revision(session, code, since), queries.find_revision(session, code, to)
    return ComparePage(
        title=new.title,
        code=code,
        old=f"Revision {since}",
        new=f"Revision {to}",
        difference=difference(_document(session, old.id), _document(session, new.id)),
        numbers=numbers,
        before=since,
        after=to,
        back=f"/procedures/{code}/{to}",
    )


def draft_compare_page(session: Session, draft_id: int) -> ComparePage:
    """Compare a draft with the revision it began from, or with nothing."""
    draft = drafts.draft(session, draft_id)
    base = queries.revision_info(session, draft.base_revision_id) if draft.base_revision_id else None
    return ComparePage(
        title=draft.title,
        code="",
        old=f"Revision {base.number}" if base else "Nothing yet",
        new="The draft",
        difference=difference(_document(session, base.id) if base else {}, draft.document),
        back=f"/procedures/drafts/{draft_id}",
    )
