"""HTTP of the review room."""

from app.review.routes import api, clocks, discards, history, record, times, totals

routers = (history.router, record.router, totals.router, discards.router, times.router, clocks.router, api.router)
