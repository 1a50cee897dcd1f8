"""The ticket as one page that loads nothing: to read on any screen, or to print."""

from __future__ import annotations

from service.domain.ticket_paper import TicketPaper
from service.render.pages import StyledPage, page_of
from service.render.qr import square_code
from service.render.ticket_view import SPOIL_ROWS, view_of_ticket


def ticket_page(paper: TicketPaper) -> StyledPage:
    """The ticket's page. What people wrote stands there as text, whatever it holds."""
    return page_of(
        "ticket",
        view=view_of_ticket(paper),
        code=square_code(paper.bench_url),
        spoil_rows=SPOIL_ROWS,
    )
