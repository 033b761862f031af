"""HTTP of the procedures room."""

from app.procedures.routes import api, importing, reading

routers = (importing.router, reading.router, api.router)
