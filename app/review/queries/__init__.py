"""Every SELECT of the review room. It reads all rooms' tables and writes none."""
