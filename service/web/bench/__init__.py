"""The bench: pages for the people who make what was ordered."""
