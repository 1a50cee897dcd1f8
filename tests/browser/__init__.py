"""The pages in a real browser without a window; run with the option --browser alone."""
