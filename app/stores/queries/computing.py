"""From gathered facts to plans and suggestions: the arrays that the rules want, and what they answer by part."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from app.rules.reorder import ReorderRule, Stock
from app.rules.stores.arrays import DAYS_PER_YEAR
from app.rules.stores.classes import ServiceTargets, ValueClass
from app.rules.stores.forecast import Prior, prior_from_procedures
from app.rules.stores.kept import by_card, with_card
from app.rules.stores.netting import KnownDemand, LotRule, known_demand
from app.rules.stores.planning import Parts, Plans, Terms, plan_parts
from app.rules.stores.quantities import PriceBreak, with_price_breaks
from app.rules.stores.suggestion import PartState, Suggestion, suggest
from app.stores.queries.planning import PartFacts, Policy


@dataclass(frozen=True)
class Computed:
    """One part: its facts, its place in the plans, what planned jobs want by date, and the suggestion."""

    facts: PartFacts
    plans: Plans
    place: int
    known: KnownDemand
    suggestion: Suggestion

    @property
    def rate(self) -> float:
        """Unforeseen demand a day."""
        return float(self.plans.rate[self.place])


def compute(
    facts: Sequence[PartFacts], classes: Mapping[str, ValueClass], policy: Policy, today: date
) -> list[Computed]:
    """Plan parts together and return the suggestion of each."""
    targets = ServiceTargets(
        float(policy.service_a), float(policy.service_b), float(policy.service_c), float(policy.service_critical)
    )
    terms = Terms(float(policy.order_cost), float(policy.holding_share), float(policy.review_days))
    priors = [_prior(f) for f in facts]
    target = [targets.level(classes[f.part.number], f.critical) for f in facts]
    plans = plan_parts(_parts(facts, priors, target, terms), terms)
    return [
        _one(one, plans, place, classes[one.part.number], priors[place], policy, today)
        for place, one in enumerate(facts)
    ]


def _prior(facts: PartFacts) -> Prior | None:
    if facts.supposed is None:
        return None
    found = prior_from_procedures(*facts.supposed)
    source = "set by hand" if facts.by_hand else "from procedures and the devices in the field"
    return replace(found, words=f"{found.words} ({source})")


def _parts(facts: Sequence[PartFacts], priors: Sequence[Prior | None], target: Sequence[float], terms: Terms) -> Parts:
    parts = [f.part for f in facts]
    return Parts(
        history=np.asarray([f.history for f in facts], dtype=np.float64),
        first=np.asarray([f.first for f in facts], dtype=np.int64),
        price=np.asarray([float(p.price) for p in parts]),
        pack=np.asarray([p.pack for p in parts], dtype=np.int64),
        minimum=np.asarray([p.minimum_order for p in parts], dtype=np.int64),
        lead_days=np.asarray([f.lead.mean_days for f in facts]),
        lead_sd_days=np.asarray([f.lead.sd_days for f in facts]),
        target=np.asarray(target),
        prior_rate=np.asarray([0.0 if p is None else p.rate_per_day for p in priors]),
        prior_days=np.asarray([0.0 if p is None else p.weight_days for p in priors]),
        shelf_life_days=np.asarray([float(p.shelf_life_days or 0) for p in parts]),
        lot=np.asarray([_agreed_lot(f, terms) for f in facts], dtype=np.int64),
    )


def _agreed_lot(facts: PartFacts, terms: Terms) -> int:
    """Return the cheapest lot where the supplier's price falls with the quantity; 0 for the economic one."""
    if not facts.breaks or not facts.used or terms.order_cost <= 0 or terms.holding_share <= 0:
        return 0
    steps = {0: float(facts.part.price)} | {least: float(price) for least, price in facts.breaks}
    if 1 in steps:
        del steps[0]
    if min(steps.values()) <= 0:
        return 0
    breaks = [PriceBreak(least, price) for least, price in steps.items()]
    months = max(1, len(facts.history) - facts.first)
    yearly = sum(facts.history) * 12 / months or float(facts.used)
    found = with_price_breaks(terms.order_cost, terms.holding_share, yearly, breaks, facts.part.pack)
    return round(found.quantity)


def yearly_cost(policy: Policy, yearly: float, price: float, breaks: Sequence[tuple[int, float]], pack: int) -> float:
    """Return what a year of a part costs with a supplier: purchase, ordering and holding at the cheapest quantity.

    ``breaks`` are (from quantity, price); ``price`` holds below the first. 0 where nothing is used or costs nothing.
    """
    steps = dict(breaks) if any(least <= 1 for least, _price in breaks) else {0: price, **dict(breaks)}
    if yearly <= 0 or min(steps.values()) <= 0 or policy.order_cost <= 0 or policy.holding_share <= 0:
        return 0.0
    listed = [PriceBreak(least, cost) for least, cost in steps.items()]
    return with_price_breaks(float(policy.order_cost), float(policy.holding_share), yearly, listed, pack).cost


def _one(
    facts: PartFacts,
    plans: Plans,
    place: int,
    value_class: ValueClass,
    prior: Prior | None,
    policy: Policy,
    today: date,
) -> Computed:
    part = facts.part
    stock = Stock(facts.usable, facts.on_order, facts.reserved)
    known = known_demand(
        facts.usable - facts.reserved, facts.wants, facts.coming, today=today,
        lead_time_days=round(facts.lead.mean_days), rule=LotRule(part.pack, part.minimum_order),
    )  # fmt: skip
    state = PartState(
        number=part.number, stock=stock, lead=facts.lead, known=known, value_class=value_class,
        critical=facts.critical, pack=part.pack, minimum=part.minimum_order,
        shelf_life_days=part.shelf_life_days or 0, prior=prior,
    )  # fmt: skip
    found = suggest(state, plans, place, today=today, review_days=float(policy.review_days))
    if by_card(found.method, part.order_up_to):
        rule = ReorderRule(part.reorder_point, part.order_up_to, part.pack, part.minimum_order)
        found = with_card(found, stock, rule)
    return Computed(facts, plans, place, known, found)


def per_year(rate_per_day: float) -> float:
    """Return a yearly quantity from a daily rate."""
    return rate_per_day * DAYS_PER_YEAR
