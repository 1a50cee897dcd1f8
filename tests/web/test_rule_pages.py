"""The pages that findings lead to, as they are written."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest

from service.domain.rules import RULES
from service.domain.wishes import Choice
from service.intake.rule_views import (
    RuleAnswer,
    RulesAnswer,
    ThresholdAnswer,
    rule_answer,
    rules_answer,
)
from service.web.rule_pages import rule_index, rule_page
from tests.domain.garments_and_lines import demo_shop

BASE = "https://shop.example"
MARKUP = "<script>alert('&')</script>"
BARE = RuleAnswer(
    id="bare",
    title="A bare rule",
    explanation="It says little.",
    source="common practice, no source",
    reads=(Choice.BLANK,),
    may_block=True,
    reasons={},
    ways_out="",
    page=f"{BASE}/rules/bare",
    policy=(),
)
FULL = BARE.model_copy(
    update={
        "reads": (Choice.BLANK, Choice.FILM_COLOUR, Choice.WIDTH),
        "may_block": False,
        "reasons": {"wide": "It is {print_width} mm wide & more.", "well": "All is well."},
        "ways_out": "Choose a narrower print.",
        "policy": (
            ThresholdAnswer(
                name="share", value=0.1, least=0, least_excluded=True, most=0.25, default=0.02
            ),
            ThresholdAnswer(
                name="count", value=3, least=1, least_excluded=False, most=40, default=9
            ),
        ),
    }
)


class Page(HTMLParser):
    """Notes the tags, addresses and plain text of a page."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.addresses: list[str] = []
        self.words: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag, and whatever it points at."""
        self.tags.append(tag)
        self.addresses += [value or "" for name, value in attrs if name in {"href", "src"}]

    def handle_data(self, data: str) -> None:
        """Note a piece of text."""
        self.words.append(data)

    @property
    def text(self) -> str:
        """What a reader sees, on one line."""
        return " ".join("".join(self.words).split())


@pytest.mark.parametrize("rule_id", [rule.id for rule in RULES])
def test_each_rule_has_its_page(rule_id: str) -> None:
    """Title, explanation, source and the caution; one heading; nothing loaded from anywhere."""
    rule = rule_answer(demo_shop(), rule_id, BASE)
    page = Page(rule_page(rule))
    for words in (rule.title, rule.explanation, rule.source, rule_id):
        assert " ".join(words.split()) in page.text
    assert "no statement on what any law asks" in page.text
    assert "data sheets" in page.text
    assert "local codes" in page.text
    assert page.tags.count("h1") == 1
    assert not {"script", "link", "img", "iframe"} & set(page.tags)
    assert page.addresses == ["../rules"]


def test_every_sentence_and_threshold_is_shown() -> None:
    """Values to be filled in stand out, bounds say whether they are met, choices are words."""
    html = rule_page(FULL)
    assert "It is <var>print width</var> mm wide &amp; more." in html
    text = Page(html).text
    for words in (
        "All is well.",
        "film colour",
        "never refuses",
        "Choose a narrower print.",
        "share0.1above 0 to 0.250.02",
        "count3from 1 to 409",
    ):
        assert words in text
    assert '<th scope="row"><code>share</code></th>' in html


def test_what_a_rule_lacks_is_left_out() -> None:
    """No empty table or list, and no heading above nothing."""
    page = Page(rule_page(BARE))
    assert page.tags.count("h2") == 1
    assert "table" not in page.tags
    assert "may refuse" in page.text


def test_text_is_never_markup() -> None:
    """Whatever a rule says is shown as it is written."""
    names = ("title", "explanation", "source", "ways_out", "id")
    rule = FULL.model_copy(
        update={**dict.fromkeys(names, MARKUP), "reasons": {"odd": f"{MARKUP} {{{MARKUP}}}"}}
    )
    index = RulesAnswer(catalogue_version="0", rules=(rule,))
    for html in (rule_page(rule), rule_index(index)):
        assert "script" not in Page(html).tags
        assert MARKUP in Page(html).text


def test_the_index_leads_to_every_rule() -> None:
    """Links stand in the order in which the rules run."""
    page = rule_index(rules_answer(demo_shop(), BASE))
    assert re.findall(r'href="rules/([^"]+)"', page) == [rule.id for rule in RULES]
    assert "no statement on what any law asks" in page
