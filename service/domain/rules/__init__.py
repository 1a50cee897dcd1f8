"""Compatibility rules: pure functions from facts to readings, collected and never first-fail."""
