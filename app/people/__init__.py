"""People: sign-in, roles, access to routes."""
