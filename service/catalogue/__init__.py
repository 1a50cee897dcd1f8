"""The shop's own data: loading, checking and versions, and the invented demo shop."""
