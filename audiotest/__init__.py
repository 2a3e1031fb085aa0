"""On-air audio test companion for two-way FM sets, on the sound card."""

__version__ = "0.1.0"
