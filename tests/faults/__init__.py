"""The fault rig: broken networks, killed servers and browsers, a full disk, two hundred tablets at once."""
