"""HTTP of the people room."""

from app.people.routes import me, setup, signing, staff, tokens

routers = (signing.router, setup.router, staff.router, me.router, tokens.router)
