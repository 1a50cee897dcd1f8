"""Tests of the render room."""
