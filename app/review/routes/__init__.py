"""HTTP of the review room."""

from app.review.routes import api, history, record, totals

routers = (history.router, record.router, totals.router, api.router)
