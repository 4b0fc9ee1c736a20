"""The water: how much is there, and what of a substance is in it. Pure: no I/O, no clock, no database."""
