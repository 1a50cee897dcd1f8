"""Rectangles on rolls, sheets and leftover pieces, in whole micrometres.

Pure and repeatable: a search is bounded by work done, never by a clock, and draws its numbers from
a generator of its own.

How gaps are kept exactly: every piece and the strip grow by one gap, to the right and upwards.
Grown pieces that touch lie one gap apart, and the last gap falls outside the strip.
"""
