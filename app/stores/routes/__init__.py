"""HTTP of the stores room."""

from app.stores.routes import api, morning, orders, part_actions, parts, places, stocktakes

# Fixed addresses such as /parts/new stand before /parts/{number} inside their own router.
routers = (
    morning.router,
    parts.router,
    part_actions.router,
    orders.router,
    stocktakes.router,
    places.router,
    api.router,
)
