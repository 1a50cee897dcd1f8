"""Tests, one folder a room."""
