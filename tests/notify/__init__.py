"""Tests of the notify room."""
