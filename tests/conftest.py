"""What holds for every test: no example of a property fails for being slow on a busy machine."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")
