"""Writes of the people room. None of them commits."""

from app.people.actions.links import make_setup_link, use_setup_link
from app.people.actions.signing import (
    Attempt,
    Verified,
    begin_attempt,
    keep_tap_right,
    revoke_all,
    see_again,
    sign_in,
    sign_out,
    sign_out_elsewhere,
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
from app.people.actions.tablets import CODE_LASTS as TABLET_CODE_LASTS
from app.people.actions.tablets import (
    Enrolment,
    add_tablet,
    enrol_tablet,
    make_tablet_code,
    note_contact,
    note_page_load,
    rename_tablet,
    revoke_tablet,
)
from app.people.actions.tokens import make_token, note_token_use, revoke_token

__all__ = [
    "TABLET_CODE_LASTS",
    "Attempt",
    "Enrolment",
    "Verified",
    "add_person",
    "add_tablet",
    "begin_attempt",
    "change_role",
    "change_secret",
    "deactivate",
    "enrol_tablet",
    "keep_tap_right",
    "make_setup_link",
    "make_tablet_code",
    "make_token",
    "note_contact",
    "note_page_load",
    "note_token_use",
    "reactivate",
    "rename_tablet",
    "revoke_all",
    "revoke_tablet",
    "revoke_token",
    "see_again",
    "set_preferences",
    "sign_in",
    "sign_out",
    "sign_out_elsewhere",
    "use_setup_link",
    "verify_person",
]
