"""Countback: every part that comes out of a device is counted, and counted back."""
