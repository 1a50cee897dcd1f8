"""Timings, run by command and never by default."""
