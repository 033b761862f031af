"""Property tests are judged by what they find, not by how busy the machine is."""

from hypothesis import settings

settings.register_profile("rules", deadline=None)
settings.load_profile("rules")
