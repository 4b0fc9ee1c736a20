"""Quarantine of newly arrived ornamental fish."""

__version__ = "0.1.0"
