"""The illustrator's kit: a pen, enlarged details, and the three demo devices described in millimetres."""
