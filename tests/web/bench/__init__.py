"""The bench pages, asked over HTTP as a browser does."""
