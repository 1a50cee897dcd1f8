"""Migrations of the tables, oldest first in ``versions``; ``service.store.migrate`` runs them."""
