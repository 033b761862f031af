"""What is set by hand for reordering: the storeroom's policy, parts, suppliers' terms and prices, overrides."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from sqlalchemy import delete
from sqlmodel import Session, col, select

from app.platform.errors import NotFound, Refused, Stale
from app.stores.actions.ledger import lock_parts, note_changes
from app.stores.actions.suggesting import forget_suggestions
from app.stores.models import (
    PartPolicy,
    StoresPolicy,
    Suggestion,
    SuggestionOverride,
    Supplier,
    SupplierPrice,
    SupplierTerms,
)
from app.stores.queries.planning import Policy


@dataclass(frozen=True)
class PartPolicyData:
    """Whether a part is critical, and what is supposed of its use while it is new; zeros suppose nothing."""

    critical: bool = False
    uses_per_job: Decimal = Decimal(0)
    jobs_per_device_year: Decimal = Decimal(0)
    devices: int = 0


@dataclass(frozen=True)
class TermsData:
    """A supplier's minimum order value, and freight below ``free_from`` (None: always paid)."""

    minimum_value: Decimal = Decimal(0)
    freight: Decimal = Decimal(0)
    free_from: Decimal | None = None


def save_policy(session: Session, given: Policy, version: int) -> None:
    """Save what holds for the whole storeroom; every suggestion is computed anew by it. Raises Stale."""
    row = session.exec(select(StoresPolicy).where(col(StoresPolicy.id) == 1).with_for_update()).first()
    if (0 if row is None else row.version) != version:
        raise Stale("The policy", ("Somebody saved it meanwhile.",), "/stores/policy")
    if row is None:
        row = StoresPolicy(
            id=1, order_cost=given.order_cost, holding_share=given.holding_share, service_a=given.service_a,
            service_b=given.service_b, service_c=given.service_c, service_critical=given.service_critical, version=0,
        )  # fmt: skip
    row.order_cost, row.holding_share, row.review_days = given.order_cost, given.holding_share, given.review_days
    row.service_a, row.service_b, row.service_c = given.service_a, given.service_b, given.service_c
    row.service_critical = given.service_critical
    row.version += 1
    session.add(row)
    session.flush()
    forget_suggestions(session)


def save_part_policy(session: Session, part_number: str, given: PartPolicyData) -> None:
    """Save what is set by hand for a part. Raises NotFound."""
    part = lock_parts(session, [part_number])[part_number]
    row = session.get(PartPolicy, part.id) or PartPolicy(
        part_id=part.id, uses_per_job=Decimal(0), jobs_per_device_year=Decimal(0)
    )
    row.critical, row.devices = given.critical, given.devices
    row.uses_per_job, row.jobs_per_device_year = given.uses_per_job, given.jobs_per_device_year
    session.add(row)
    session.flush()
    note_changes(session, [part.id])


def save_terms(session: Session, supplier_id: int, given: TermsData) -> None:
    """Save a supplier's terms. Raises NotFound."""
    if session.get(Supplier, supplier_id) is None:
        raise NotFound(f"supplier {supplier_id}")
    row = session.get(SupplierTerms, supplier_id) or SupplierTerms(
        supplier_id=supplier_id, minimum_value=Decimal(0), freight=Decimal(0)
    )
    row.minimum_value, row.freight, row.free_from = given.minimum_value, given.freight, given.free_from
    session.add(row)
    session.flush()


def save_prices(session: Session, part_number: str, supplier_id: int, steps: Sequence[tuple[int, Decimal]]) -> None:
    """Replace a supplier's prices for a part by these (from quantity, price); none takes them away.

    Raises NotFound, or Refused for a quantity named twice.
    """
    part = lock_parts(session, [part_number])[part_number]
    if session.get(Supplier, supplier_id) is None:
        raise NotFound(f"supplier {supplier_id}")
    if len({least for least, _price in steps}) != len(steps):
        raise Refused("A quantity stands there twice. Keep one price for it.", "prices")
    session.connection().execute(
        delete(SupplierPrice).where(
            col(SupplierPrice.part_id) == part.id, col(SupplierPrice.supplier_id) == supplier_id
        )
    )
    for least, price in steps:
        session.add(SupplierPrice(part_id=part.id, supplier_id=supplier_id, from_quantity=least, unit_price=price))
    session.flush()
    note_changes(session, [part.id])


def override_suggestion(
    session: Session, part_number: str, quantity: int, reason: str, *, at: datetime, who: int | None
) -> None:
    """Order another quantity than suggested until the suggestion changes, with the reason. 0 orders nothing.

    Raises NotFound, or Refused without a reason, for the suggested quantity itself, or one that is not in packs.
    """
    part = lock_parts(session, [part_number])[part_number]
    kept = session.get(Suggestion, part.id)
    suggested = 0 if kept is None else kept.quantity
    reason = " ".join(reason.split())
    if len(reason.split()) < 2:
        raise Refused("Say in a few words why. It is looked at again when overrides are reviewed.", "reason")
    if quantity == suggested:
        raise Refused(f"{quantity} is what is suggested. Enter another quantity, or leave it.", "quantity")
    pack = part.part.pack
    if quantity % pack:
        raise Refused(f"{part_number} comes in packs of {pack}. Enter a multiple of it.", "quantity")
    _end(session, part.id, at, "Another override took its place.")
    session.add(
        SuggestionOverride(
            part_id=part.id, quantity=quantity, suggested=suggested, reason=reason[:300], made_at=at, made_by=who
        )
    )
    session.flush()


def withdraw_override(session: Session, part_number: str, *, at: datetime) -> None:
    """End the override of a part: the suggestion holds again. Raises NotFound, or Refused when there is none."""
    part = lock_parts(session, [part_number])[part_number]
    if not _end(session, part.id, at, "Taken back."):
        raise Refused(f"{part_number} has no override.")


def _end(session: Session, part_id: int, at: datetime, why: str) -> bool:
    rows = session.exec(
        select(SuggestionOverride).where(
            col(SuggestionOverride.part_id) == part_id, col(SuggestionOverride.ended_at).is_(None)
        )
    ).all()
    for row in rows:
        row.ended_at, row.ended_why = at, why
        session.add(row)
    session.flush()
    return bool(rows)
