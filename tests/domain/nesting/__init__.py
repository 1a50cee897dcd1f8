"""Nesting: laws that hold of every layout, and worked examples."""
