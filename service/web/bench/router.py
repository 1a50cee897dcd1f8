"""All pages of the bench."""

from __future__ import annotations

from fastapi import APIRouter

from service.web.bench import (
    entry,
    forms,
    lists,
    queue,
    run_pages,
    scanning,
    schedule,
    stock_pages,
    ticket_pages,
)

router = APIRouter()
for _part in (entry, queue, scanning, lists, schedule, run_pages, stock_pages, ticket_pages, forms):
    router.include_router(_part.router)
