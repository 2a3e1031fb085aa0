"""Limit sets, weighting tables and tone tables as data, each with its source."""
