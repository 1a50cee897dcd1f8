"""Tests of the intake room."""
