"""Tables, engine, transactions and files. Knows the domain's values, never the web."""
