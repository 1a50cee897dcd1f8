"""Use cases, one a module, each one transaction."""
