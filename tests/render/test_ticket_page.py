"""The ticket as a page: strict HTML, everything of the JSON, and nothing that runs."""

from __future__ import annotations

import base64
import hashlib
import re

import pytest

from service.domain.garments import Garment
from service.render.placement_svg import placement_scene
from service.render.ticket_page import ticket_page
from tests.domain.tickets import CLOTH_FOR, at, stocked, ticket_by, ticket_of
from tests.render.papers import (
    elements,
    html_text,
    paper_of,
    red_square,
    squeezed,
    usual_document,
    usual_paper,
)
from tests.render.test_ticket_pdf import missing, words_of_step

EVIL = "<script>alert(1)</script><img src=x onerror=alert(1)>\" onmouseover='x' {{ 7 * 7 }}"


def test_the_page_says_all_that_the_json_says() -> None:
    """Every step's words and settings, sizes, materials, distances and cautions."""
    document = usual_document()
    text = html_text(ticket_page(usual_paper()).html)
    wanted = ["Ticket T000042", "leaves on Monday 9 March 2026 (2026-03-09)", "on bench"]
    wanted += [
        part for step in document.steps for part in words_of_step(step, document.pieces_to_start)
    ]
    wanted += [one.words() for one in document.materials]
    wanted += [f"{one.width_mm:g} mm" for one in document.materials if one.width_mm]
    wanted += [one.placed for one in document.decorations]
    wanted += list(document.cautions)
    assert missing(wanted, text) == []


@pytest.mark.parametrize("method", CLOTH_FOR)
def test_every_method_has_a_page_without_faults(method: str) -> None:
    """Parsed strictly (WHATWG HTML, by html5lib)."""
    text = html_text(ticket_page(paper_of(ticket_by(method), pictures=False)).html)
    assert "no picture: it is gone" in text


def test_boxes_to_tick() -> None:
    """One for each good piece up to forty, one for each step."""
    document = usual_document()
    boxes = [one for one in elements(ticket_page(usual_paper()).html, "span")
             if one.get("class") == "box"]  # fmt: skip
    assert len(boxes) == 3 + 5 + len(document.steps)


def test_mirrored_is_said_in_words_and_sign() -> None:
    """Dye transfer is mirrored, printed film is not (common practice, no source)."""
    for method, words, kind in (
        ("dye-transfer", "MIRRORED Я", "mirror yes"),
        ("printed-film", "NOT MIRRORED R", "mirror"),
    ):
        html = ticket_page(paper_of(ticket_by(method))).html
        marks = re.findall(r'<p class="(mirror[^"]*)">([^<]*)</p>', html)
        assert set(marks) == {(kind, words)}


def test_what_people_write_is_text() -> None:
    """Markup, quotes and template braces in a note or a reference stay what they are."""
    html = ticket_page(usual_paper(notes=(EVIL,), reference=EVIL)).html
    assert not elements(html, "script")
    assert [one["alt"][:3] for one in elements(html, "img")] == ["How", "How"]
    assert html_text(html).count(squeezed(EVIL)) == 2


def test_nothing_is_fetched_and_nothing_runs() -> None:
    """No script, no address but the bench page's, and pictures that lie inside."""
    html = ticket_page(usual_paper()).html
    inside = "data:image/png;base64," + base64.b64encode(red_square()).decode()
    assert {one["src"] for one in elements(html, "img")} == {inside}
    assert [one["href"] for one in elements(html, "a")] == [usual_paper().bench_url]
    assert not re.search(r"\son\w+=|style=|@import|url\(", html)
    for name in ("script", "link", "iframe", "object"):
        assert not elements(html, name)


def test_the_style_is_the_one_its_policy_names() -> None:
    """The digest is that of the style as it stands in the page (CSP level 3, from memory)."""
    page = ticket_page(usual_paper())
    (style,) = re.findall(r"<style>(.*?)</style>", page.html, re.DOTALL)
    digest = hashlib.sha256(style.encode()).digest()
    assert base64.b64encode(digest).decode() == page.style_sha256


def test_a_page_is_small() -> None:
    """Below 150 kB without pictures, with a note of 4,000 characters."""
    html = ticket_page(usual_paper(notes=("n" * 4_000,), pictures=False)).html
    assert len(html.encode()) < 150_000


@pytest.mark.parametrize("garment", [stocked("classic-cotton-tee", "black"), CLOTH_FOR["cut-film"]])
def test_the_picture_holds_all_that_is_drawn(garment: Garment) -> None:
    """Print, area and seam lie within the frame, with a garment's outline or without."""
    document = ticket_of(garment, at("front", "cut-film"))
    drawing = document.decorations[0].drawing
    assert drawing is not None
    scene = placement_scene(drawing, document.style, "M")
    frame = scene.frame(360, 300, 12)
    for box in (scene.print, scene.area):
        assert 0 <= frame.across_px(box.left_mm) <= frame.across_px(box.right_mm) <= 360
        assert 0 <= frame.down_px(0.0) <= frame.down_px(box.bottom_mm) <= 300
    assert bool(scene.outline) == (document.style is not None)


def test_distances_are_drawn_in_both_units() -> None:
    """The lines carry mm and inches; 25.4 mm to the inch, by definition."""
    document = ticket_of(
        stocked("classic-cotton-tee", "black"), at("left-chest", "cut-film"), sizes={"M": 2}
    )
    html = ticket_page(paper_of(document)).html
    labels = re.findall(r"<text[^>]*>([^<]*)</text>", html)
    drawing = document.decorations[0].drawing
    assert drawing is not None
    assert sorted(labels) == sorted(one.label for one in drawing.dimensions("M"))
    for label in labels:
        found = re.fullmatch(r"([\d.]+) mm \(([\d.]+) in\)", label)
        assert found is not None
        assert abs(float(found[1]) / 25.4 - float(found[2])) < 0.007
