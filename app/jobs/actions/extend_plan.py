"""A new plan in mid-work: what is done stays done, and the job goes on with the steps and the kit that it adds."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from sqlmodel import Session

from app.jobs.actions.choose_targets import reserve_anew, write_kit
from app.jobs.actions.hold import show_shortage
from app.jobs.actions.record import known_event, load_job, record
from app.jobs.actions.take_alternate import give_up_planned
from app.jobs.models import Stage
from app.jobs.queries.bench import state_of
from app.jobs.queries.kit import plan_in_force, planned_of_passes, standing_of
from app.jobs.queries.pricing import addition, expected_of
from app.jobs.queries.spares import spares_for
from app.platform.errors import Forbidden, Refused
from app.platform.settings import Settings
from app.platform.submissions import content_hash
from app.procedures import queries as procedures
from app.rules import job_flow
from app.rules.extending import extend
from app.rules.money import round_money


@dataclass(frozen=True)
class Agreement:
    """Who said yes to what a new plan adds, by which means, and to what price, as it was shown."""

    by: str = ""
    means: str = ""
    amount: Decimal | None = None


def extend_plan(
    session: Session,
    number: str,
    version: int,
    targets: Collection[str],
    settings: Settings,
    *,
    at: datetime,
    who: int,
    event_id: str,
    supervisor: bool,
    agreement: Agreement | None = None,
    today: date | None = None,
) -> Mapping[str, int]:
    """Plan a job in work for a new set of units and reserve what it adds; returns what is short, by part number.

    Where the owner pays and it costs more, a supervisor records who agreed and to which amount: Forbidden for anybody
    else, Refused without it. Raises Refused like ``rules.extending.extend``, and Stale.
    """
    said = agreement or Agreement()
    digest = content_hash(["extend", number, sorted(targets), said.by, said.means, str(said.amount)])
    job = load_job(session, number)
    if known_event(session, event_id, digest):
        return {}
    job = load_job(session, number, version)
    state = state_of(job)
    standing = standing_of(job, state, {})
    job_flow.check_extension(standing)
    sheet = procedures.sheet(session, job.revision_id)
    before = plan_in_force(session, job.id or 0, state.pass_no)
    found = extend(sheet, state, targets, before.get("kit", {}), before.get("spent", {}))
    if not found.changes and set(found.plan.targets) == set(state.targets):
        raise Refused("That is the plan in force. Choose what else has to be exchanged.", "targets")
    data = found.data | spares_for(session, job.revision_id, found.plan.kit)
    more = addition(session, job.revision_id, found, settings, today or at.astimezone(settings.zone).date()).total
    if standing.quote_due and more > 0:
        if not supervisor:
            raise Forbidden("The owner pays: a supervisor asks the owner and records the answer.")
        data |= _agreed(said, settings)
    record(session, job, kind="extended", at=at, who=who, event_id=event_id, data=data, digest=digest)
    if said.amount is not None and standing.quote_due:
        job.quoted = (job.quoted or Decimal(0)) + said.amount
    job.targets = list(found.targets)
    now = state_of(job)
    job.stage = Stage.REFIT if now.turned else Stage.TEARDOWN
    if state.pass_no == 1:
        _plan, time = expected_of(session, job.revision_id, found.plan.targets)
        job.median_s, job.p80_s = time.median_s, time.p80_s
    give_up_planned(session, job, planned_of_passes(session, job.id or 0), at=at, who=who, event_id=event_id)
    write_kit(session, job)
    short = reserve_anew(session, job, at=at, who=who, entry_id=event_id, today=today)
    show_shortage(session, job, short, at=at, who=who, event_id=event_id)
    session.add(job)
    session.flush()
    return short


def _agreed(said: Agreement, settings: Settings) -> dict[str, str]:
    if not said.by:
        raise Refused("Ask the owner first, then write down who agreed.", "by")
    if not said.means:
        raise Refused("Write down by which means: telephone, e-mail, at the counter.", "means")
    if said.amount is None:
        raise Refused("Write down the amount that the owner agreed to.", "amount")
    if said.amount < 0 or round_money(said.amount, settings.currency) != said.amount:
        raise Refused(f"{settings.currency} has no such amount. Enter one of 0 or more, in its coins.", "amount")
    return {"by": said.by, "means": said.means, "amount": str(said.amount), "currency": settings.currency}
