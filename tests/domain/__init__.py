"""Tests of the domain room."""
