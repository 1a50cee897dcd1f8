"""The shell of a page: plain HTML with its style inside, and nothing fetched from elsewhere."""

from __future__ import annotations

from html import escape


def html_page(title: str, content: str, *, style: str) -> str:
    """A page in English. ``title`` is plain text, ``content`` HTML, ``style`` a sheet of CSS."""
    return (
        f'<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<style>{style}</style></head><body><main><h1>{escape(title)}</h1>{content}</main>"
        "</body></html>"
    )
