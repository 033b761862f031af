"""Pure computation: no web, no database, no clock, no chance. Time is an argument."""
