"""Writes of the people room. None of them commits."""

from app.people.actions.links import make_setup_link, use_setup_link
from app.people.actions.signing import (
    Attempt,
    Verified,
    begin_attempt,
    revoke,
    revoke_all,
    see_again,
    sign_in,
    sign_out,
    verify_person,
)
from app.people.actions.staff import (
    add_person,
    change_role,
    change_secret,
    deactivate,
    reactivate,
    set_preferences,
)
from app.people.actions.tokens import make_token, note_token_use, revoke_token

__all__ = [
    "Attempt",
    "Verified",
    "add_person",
    "begin_attempt",
    "change_role",
    "change_secret",
    "deactivate",
    "make_setup_link",
    "make_token",
    "note_token_use",
    "reactivate",
    "revoke",
    "revoke_all",
    "revoke_token",
    "see_again",
    "set_preferences",
    "sign_in",
    "sign_out",
    "use_setup_link",
    "verify_person",
]
