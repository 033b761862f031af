"""Writes of the jobs room, one file an action. None of them commits."""
