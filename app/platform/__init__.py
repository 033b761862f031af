"""Platform: database, settings, clock, errors and the web machinery that every room uses."""
