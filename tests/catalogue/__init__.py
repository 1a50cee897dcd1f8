"""Tests of the catalogue room."""
