"""The whole application, asked over HTTP, on both stores."""
