"""What the storeroom computes: demand, reorder levels, quantities, value, waste and scanned labels.

Where to begin: ``planning.plan_parts`` recomputes the levels of all parts at once, ``suggestion.suggest`` tells one
part's order in words. The rest, in the order they build on one another: ``arrays`` types; ``demand`` what a history
looks like; ``forecast`` its rate; ``lead_time`` how long orders take; ``arrival`` when one comes;
``laws`` distributions of demand; ``levels`` reorder points and service; ``quantities`` order sizes; ``lot_sizing``
known demand in periods;
``netting`` known demand by date; ``joint`` one supplier's order; ``exact`` optimal policies of small cases;
``simulation`` a workshop for years; ``classes`` A, B, C; ``valuation`` stock at a past date; ``ageing`` slow, dead
and expiring stock; ``spoilage`` discards against plan; ``gs1`` bar codes with lot and expiry;
``alternates`` parts in place of others; ``units`` rotables and cores; ``supplier_returns`` goods sent back.
"""
