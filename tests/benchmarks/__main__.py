"""Timings of the service beside baselines measured in the same run.

    python -m tests.benchmarks                 on SQLite, in about two minutes
    python -m tests.benchmarks --store both    on PostgreSQL too (a server is started for it)
    python -m tests.benchmarks --long          some minutes, steadier figures
    python -m tests.benchmarks --only orders   rows whose name holds the word
    python -m tests.benchmarks --only artwork  uploads, measuring, and checks beside uploads
    python -m tests.benchmarks --only packing  nesting; --reference-data FOLDER for all instances
    python -m tests.benchmarks --only sequencing  orders of jobs and tickets

How to read the table. Each row names what was measured and how many calls were counted; then how
many were answered a second (the median over rounds), the time that half and 99 in 100 of all calls
kept under, and the processor time that one call took of the server (webhook sender and logging
included). Then comes what it stands beside, and last how many times as long ours takes, the median
over rounds and in brackets the least and the most, and how many times the processor time.

**Believe the ratios.** Absolute figures belong to this machine in this minute. Both sides of a
ratio are measured in turn, so that what slows the machine slows both; where least and most lie far
apart the machine was busy, and processor time, which waits for nobody, is the better guide.

Endpoints. The real application runs as ``serve`` runs it, sender and log lines included (the lines
go nowhere), on a fresh, durable store with the invented demo shop. Beside it runs plain FastAPI
without middleware, keys or telemetry under the same server settings. A *bare endpoint* is
``async def``, validates a body of the same bytes in and of the same bytes out, and does nothing. A
*bare durable insert* also writes one row, as long as all rows that the real endpoint writes, in a
transaction in a thread. The load is a closed loop of 16 keep-alive connections (4 for uploads) from
a third process, which shares the processors with the server: with two, the figures are those of one
processor. In a closed loop 16 requests wait on one another, so p50 is mostly queue: divide by 16
for the work of one. Rows of *one caller* wait for nothing; beside them stands by how much the
median of the bare twin is less. *Never asked before* asks for other widths each time.

Accepting takes quotes that were prepared in the store and promise a day far ahead, so that no call
is refused for want of time; the shop's days fill up as they are accepted. Each move starts a ticket
that such an order made. A burst of either ends early where these run out.

Functions run in this process, and all their times are processor time. The baseline is a known part
of the same work, or a reference library; a sample is as many calls as take 2 ms, and p99 is over
samples.

Large pictures are read and measured in a fresh process each, on one core, by the clock; the peak is
of all of its memory after the first picture. Proofs are planned, drawn and encoded in this process,
and so are drawings refused that are made to take long: the one that takes longest is shown. Then a
steady stream of remembered checks runs against the service while nothing else goes on, and while
large pictures that it never saw are uploaded one after another. Both times are of all checks, and
the ratio compares the 99th percentiles, round by round.

Nesting is measured once for each instance, its times are processor time. How far the lengths lie
over the known optimum, or how dense outlines lie, stands in the names of the rows, beside them what
a packing library reached. ``tests.reference.packing_figures`` says how that was measured.

Sequencing is measured once for each published flow shop, made day and made order, in processor
time. How far the values lie over the known ones, and how many days sooner orders are done on the
mean, stands in the names of the rows.

Nothing is asserted, and a failed call is counted beside the row's name.
"""

if __name__ == "__main__":
    # Imported here, for the processes that are started import this module anew.
    from tests.benchmarks.command import main

    main(__doc__)
