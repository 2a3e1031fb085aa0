"""Readings to advice: plain rules, each with its reason."""
