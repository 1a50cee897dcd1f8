"""Tests of the command line and the demonstration."""
