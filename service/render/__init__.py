"""What people look at, drawn from domain values."""
