"""API tokens: made and revoked by a supervisor, shown once."""

from datetime import datetime

from sqlalchemy import update
from sqlmodel import Session, col, select

from app.people.models import ApiToken, Role
from app.people.secrets import new_token, token_hash
from app.platform.errors import NotFound, Refused


def make_token(session: Session, label: str, role: Role, at: datetime, who: int) -> str:
    """Make a bearer token that acts with a role and return it; only its hash is kept, so it is shown once."""
    label = " ".join(label.split())
    if not label:
        raise Refused("Say what the token is for.", "label")
    token = new_token()
    session.add(ApiToken(label=label, token_hash=token_hash(token), role=role, person_id=who, created_at=at))
    session.flush()
    return token


def revoke_token(session: Session, token_id: int, at: datetime) -> None:
    """Make a token useless; doing it again changes nothing."""
    token = session.exec(select(ApiToken).where(col(ApiToken.id) == token_id)).first()
    if token is None:
        raise NotFound("such token")
    if token.revoked_at is None:
        token.revoked_at = at
        session.add(token)


def note_token_use(session: Session, token_id: int, at: datetime) -> None:
    """Note when a token was last used."""
    session.connection().execute(update(ApiToken).where(col(ApiToken.id) == token_id).values(last_used_at=at))
