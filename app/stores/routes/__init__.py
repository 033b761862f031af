"""HTTP of the stores room."""

from app.stores.routes import (
    api,
    api_ordering,
    api_units,
    count_plan,
    keeping,
    labels,
    morning,
    order_states,
    orders,
    part_actions,
    parts,
    places,
    stocktakes,
    suggesting,
    tables,
    units,
    valuation,
)

# Fixed addresses such as /parts/new stand before /parts/{number} inside their own router.
routers = (
    morning.router,
    suggesting.router,
    valuation.router,
    order_states.router,
    labels.router,
    parts.router,
    part_actions.router,
    orders.router,
    stocktakes.router,
    count_plan.router,
    keeping.router,
    units.router,
    tables.router,
    places.router,
    api.router,
    api_ordering.router,
    api_units.router,
)
