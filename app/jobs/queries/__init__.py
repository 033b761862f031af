"""Every SELECT of the jobs room, handed out as plain frozen dataclasses; a file for each part of the work."""
