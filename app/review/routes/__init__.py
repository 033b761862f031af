"""HTTP of the review room."""

from app.review.routes import api, clocks, history, record, totals

routers = (history.router, record.router, totals.router, clocks.router, api.router)
