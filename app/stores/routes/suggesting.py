"""HTTP: the reorder list, one part's suggestion, overrides, the policy, suppliers' terms and prices."""

from collections.abc import Callable
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.people.access import Posted, Stores
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, RawForm, check
from app.platform.settings import Settings
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, get_settings, page, see_other
from app.stores import actions, queries
from app.stores.actions import PartPolicyData, TermsData
from app.stores.forms import OverrideForm, PartPolicyForm, PolicyForm, PricesForm, TermsForm
from app.stores.pages.common import workshop_day
from app.stores.pages.suggestions import (
    OverridesPage,
    policy_page,
    reorder_page,
    suggestion_page,
    terms_page,
)

router = APIRouter(include_in_schema=False)
Act = Callable[[Session], None]
HUNDRED = Decimal(100)


def bring_up_to_date(db: Database, settings: Settings) -> date:
    """Compute suggestions whose facts have changed, a few hundred at most; returns the workshop's day."""
    today = workshop_day(settings)
    with db.read() as session:
        stale = queries.count_stale(session, today)
    if stale:
        with db.write() as session:
            actions.refresh_suggestions(session, today, at=clock.now())
    return today


@router.get("/reorder")
def reorder_list(request: Request, db: Db, settings: SiteSettings, _caller: Stores) -> Response:
    """Show what to order by supplier, from the kept suggestions."""
    today = bring_up_to_date(db, settings)
    with db.read() as session:
        context = reorder_page(session, today)
    return page(request, "stores/reorder.html", context)


@router.post("/stores/reorder/recompute")
def recompute(db: Db, settings: SiteSettings, caller: Stores, raw: Posted) -> Response:
    """Compute every suggestion anew, with the classes by annual value."""
    at = clock.now()
    with db.write() as session:
        key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
        actions.renew_suggestions(session, workshop_day(settings, at), at=at)
        settle(session, key, "/reorder")
    return see_other("/reorder")


@router.get("/stores/overrides")
def list_overrides(request: Request, db: Db, settings: SiteSettings, _caller: Stores) -> Response:
    """Show the overrides, those that hold first."""
    bring_up_to_date(db, settings)
    with db.read() as session:
        context = OverridesPage(queries.overrides(session))
    return page(request, "stores/overrides.html", context)


@router.get("/stores/policy")
def show_policy(request: Request, db: Db, settings: SiteSettings, _caller: Stores) -> Response:
    """Show the storeroom's policy."""
    bring_up_to_date(db, settings)
    with db.read() as session:
        context = policy_page(session)
    return page(request, "stores/policy.html", context)


@router.post("/stores/policy")
def change_policy(request: Request, db: Db, caller: Stores, raw: Posted) -> Response:
    """Save the policy, and compute by it at once."""
    form = check(PolicyForm, raw)
    given = form.data
    today = workshop_day(get_settings(request))

    def act(session: Session) -> None:
        assert given is not None
        wanted = queries.Policy(
            given.order_cost, given.holding / HUNDRED, given.review_days, given.service_a / HUNDRED,
            given.service_b / HUNDRED, given.service_c / HUNDRED, given.service_critical / HUNDRED,
        )  # fmt: skip
        actions.save_policy(session, wanted, given.version)
        actions.renew_suggestions(session, today, at=clock.now())

    def again(refused: Form[Any], status: int) -> Response:
        with db.read() as session:
            context = policy_page(session, refused)
        return page(request, "stores/policy.html", context, status=status)

    return _do(db, caller.person_id, raw, form, act, "/stores/policy", again)


@router.get("/stores/terms/{supplier_id}")
def show_terms(request: Request, db: Db, _caller: Stores, supplier_id: int) -> Response:
    """Show a supplier's terms."""
    with db.read() as session:
        context = terms_page(session, supplier_id)
    return page(request, "stores/terms.html", context)


@router.post("/stores/terms/{supplier_id}")
def change_terms(request: Request, db: Db, caller: Stores, raw: Posted, supplier_id: int) -> Response:
    """Save a supplier's terms."""
    form = check(TermsForm, raw)

    def act(session: Session) -> None:
        assert form.data is not None
        actions.save_terms(session, supplier_id, TermsData(**form.data.model_dump()))

    def again(refused: Form[Any], status: int) -> Response:
        with db.read() as session:
            context = terms_page(session, supplier_id, refused)
        return page(request, "stores/terms.html", context, status=status)

    return _do(db, caller.person_id, raw, form, act, "/stores/policy", again)


@router.get("/stores/reorder/{number}")
def show_suggestion(request: Request, db: Db, settings: SiteSettings, _caller: Stores, number: str) -> Response:
    """Show one part's suggestion with everything it follows from."""
    bring_up_to_date(db, settings)
    return _suggestion(request, db, number)


def _suggestion(request: Request, db: Database, number: str, status: int = 200, **forms: Form[Any]) -> Response:
    today = workshop_day(get_settings(request))
    with db.read() as session:
        choices = [(str(row.id), row.name) for row in queries.suppliers(session)]
        context = suggestion_page(session, number, today, choices, **forms)
    return page(request, "stores/suggestion.html", context, status=status)


@router.post("/stores/reorder/{number}/override")
def override(request: Request, db: Db, caller: Stores, raw: Posted, number: str) -> Response:
    """Order another quantity than suggested, with a reason."""
    form = check(OverrideForm, raw)

    def act(session: Session) -> None:
        assert form.data is not None
        actions.override_suggestion(
            session, number, form.data.quantity, form.data.reason, at=clock.now(), who=caller.person_id
        )

    def again(refused: Form[Any], status: int) -> Response:
        return _suggestion(request, db, number, status, form=refused)

    return _do(db, caller.person_id, raw, form, act, f"/stores/reorder/{number}", again)


@router.post("/stores/reorder/{number}/as-suggested")
def as_suggested(db: Db, caller: Stores, raw: Posted, number: str) -> Response:
    """Take an override back."""
    at = clock.now()
    with db.write() as session:
        key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
        actions.withdraw_override(session, number, at=at)
        settle(session, key, f"/stores/reorder/{number}")
    return see_other(f"/stores/reorder/{number}")


@router.post("/stores/reorder/{number}/settings")
def part_settings(request: Request, db: Db, caller: Stores, raw: Posted, number: str) -> Response:
    """Mark a part as critical, or say what is supposed of a new one's use."""
    form = check(PartPolicyForm, raw)

    def act(session: Session) -> None:
        assert form.data is not None
        actions.save_part_policy(session, number, PartPolicyData(**form.data.model_dump()))

    def again(refused: Form[Any], status: int) -> Response:
        return _suggestion(request, db, number, status, settings=refused)

    return _do(db, caller.person_id, raw, form, act, f"/stores/reorder/{number}", again)


@router.post("/stores/reorder/{number}/prices")
def part_prices(request: Request, db: Db, caller: Stores, raw: Posted, number: str) -> Response:
    """Keep what a supplier asks for a part, by quantity."""
    form = check(PricesForm, raw)

    def act(session: Session) -> None:
        assert form.data is not None
        actions.save_prices(session, number, form.data.supplier, _steps(form.data.prices))

    def again(refused: Form[Any], status: int) -> Response:
        return _suggestion(request, db, number, status, prices=refused)

    return _do(db, caller.person_id, raw, form, act, f"/stores/reorder/{number}", again)


def _steps(text: str) -> list[tuple[int, Decimal]]:
    """Read lines such as ``1: 2.50`` and ``100: 2.10``. Raises Refused for anything else."""
    found = []
    for line in text.splitlines():
        if not line.strip():
            continue
        least, sign, price = line.replace(",", ".").partition(":")
        try:
            step = (int(least), Decimal(price.strip()))
        except (ValueError, InvalidOperation) as error:
            raise Refused(f"'{line.strip()}' is not a quantity and a price, such as 100: 2.10.", "prices") from error
        if not sign or step[0] < 1 or not 0 <= step[1] <= 1_000_000 or step[1] != round(step[1], 4):
            raise Refused(f"'{line.strip()}': a quantity is at least 1, and a price has at most 4 decimals.", "prices")
        found.append(step)
    return found


def _do(
    db: Database,
    who: int,
    raw: RawForm,
    form: Form[Any],
    act: Act,
    then: str,
    again: Callable[[Form[Any], int], Response],
) -> Response:
    """Act on a checked form once and go on to a page; show the form again with what is wrong."""
    if form.data is None:
        return again(form, 422)
    at = clock.now()
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), who, at)
            act(session)
            settle(session, key, then)
    except Refused as refusal:
        return again(form.refused(refusal), 409)
    return see_other(then)
