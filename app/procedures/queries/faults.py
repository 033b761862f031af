"""Whether published procedures and their drawings are still what was published."""

import hashlib
from collections.abc import Iterator

from sqlmodel import Session, col, select

from app.platform.submissions import content_hash
from app.procedures.document import essence
from app.procedures.models import Drawing, Procedure, Revision
from app.rules.sheet import Sheet


def sheet_faults(session: Session) -> tuple[str, ...]:
    """Return which revisions and drawings do not have the hash they were stored under, in words."""
    return (*_revision_faults(session), *_drawing_faults(session))


def _revision_faults(session: Session) -> Iterator[str]:
    query = (
        select(Procedure.code, Revision)
        .join(Procedure, col(Procedure.id) == col(Revision.procedure_id))
        .order_by(col(Procedure.code), col(Revision.number))
    )
    for code, revision in session.exec(query).all():
        name = f"{code}, revision {revision.number}"
        try:
            sheet = Sheet.model_validate(revision.document)
        except ValueError as error:
            yield f"{name} cannot be read: {str(error).splitlines()[0]}."
            continue
        hashes = dict(sorted(revision.drawings.items()))
        if content_hash({"sheet": essence(sheet), "drawings": hashes}) != revision.sha256:
            yield f"{name} is not what was published."


def _drawing_faults(session: Session) -> Iterator[str]:
    kept = set()
    for sha256, svg in session.exec(select(Drawing.sha256, Drawing.svg).order_by(col(Drawing.sha256))).all():
        kept.add(sha256)
        if hashlib.sha256(svg.encode()).hexdigest() != sha256:
            yield f"Drawing {sha256[:12]} is not what was stored."
    yield from _missing(session, kept)


def _missing(session: Session, kept: set[str]) -> Iterator[str]:
    for code, number, drawings in session.exec(
        select(Procedure.code, Revision.number, Revision.drawings)
        .join(Procedure, col(Procedure.id) == col(Revision.procedure_id))
        .order_by(col(Procedure.code), col(Revision.number))
    ).all():
        for picture, sha256 in sorted(drawings.items()):
            if picture.endswith(".svg") and sha256 not in kept:
                yield f"{code}, revision {number}: its drawing {picture} is not stored any more."
