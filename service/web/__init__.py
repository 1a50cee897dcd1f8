"""HTTP: the application, its routers, and how mistakes are answered."""
