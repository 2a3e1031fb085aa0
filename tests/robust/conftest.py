"""The virtual sound card of the live tests, for faults in it."""

from tests.live.conftest import card

__all__ = ["card"]
