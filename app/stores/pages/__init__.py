"""Typed page contexts of the stores room."""
