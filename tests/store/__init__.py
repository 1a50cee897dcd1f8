"""Tests of the store room."""
