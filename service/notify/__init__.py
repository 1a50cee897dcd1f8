"""Telling storefronts what happened: endpoints, sender, signature, address guard."""
