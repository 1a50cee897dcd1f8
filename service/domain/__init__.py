"""The trade, as pure values and functions.

Nothing here knows the web, the store, files, clocks or chance: those are passed in.
"""
