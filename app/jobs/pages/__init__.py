"""Contexts of the jobs room's pages, a file for each part of the work."""
