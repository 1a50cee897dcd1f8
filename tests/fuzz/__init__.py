"""Mutated picture files read in a bounded child process: a tool, run by hand."""
