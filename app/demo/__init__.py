"""The demo workshop: an invented year of work, made through the same actions that the pages use."""
