"""Order intake for a custom garment decorator."""

__version__ = "0.1.0"
