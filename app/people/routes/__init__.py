"""HTTP of the people room."""

from app.people.routes import enrolling, me, setup, signing, staff, tablets, tokens

# Tablets before staff: /people/tablets is not the page of a person.
routers = (signing.router, enrolling.router, setup.router, tablets.router, staff.router, me.router, tokens.router)
