"""Typed contexts of the review's pages."""
