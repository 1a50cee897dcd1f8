"""The page on which a storefront's developer tries choices: what is served, before any browser.

Sources of the checks: the HTML Standard by the parser html5lib in its strict mode, Content Security
Policy Level 3 for the meaning of the directives (from memory), WCAG 2.2 criteria 1.4.3, 3.3.2 and
4.1.2 (from memory), and the service's own OpenAPI description.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime
from functools import cache
from types import SimpleNamespace
from uuid import uuid4
from xml.etree.ElementTree import Element

import html5lib
import pytest
from starlette.testclient import TestClient

from service.demo_artwork import DEMO_ARTWORKS
from service.domain.wishes import Consent
from service.intake.choices import Attribute
from service.settings import Settings
from service.web.app import describe
from service.web.application import create_base_app
from service.web.auth import LiveKey
from service.web.try_page import FOLDER, router, try_html

SCRIPTS = sorted(FOLDER.glob("*.js"))
LOADED = [file for file in sorted(FOLDER.iterdir()) if file.suffix != ".html"]
MOST_BYTES = 150_000
"""The bound on a page with all it loads, pictures left out."""

SINKS = (
    r"innerHTML|outerHTML|insertAdjacentHTML|setHTML|createContextualFragment|DOMParser|srcdoc"
    r"|document\.write|\beval\b|\bFunction\(|import\(|setTimeout\(\s*[\"'`]"
)
"""What makes markup or script of a text."""

MEMORIES = r"localStorage|sessionStorage|indexedDB|document\.cookie|caches\b|history\.|location\b"
"""Where a key would outlive the page, or stand in an address."""


def client_of(*, docs: bool = True) -> TestClient:
    """A stranger's client of the page's routes, without a store."""

    async def nobody(_: str) -> LiveKey | None:
        return None

    settings = Settings(docs=docs)
    app = create_base_app(
        settings,
        request_ids=uuid4,
        clock=lambda: datetime(2026, 3, 2, tzinfo=UTC),
        find_key=nobody,
        checks={},
    )
    app.state.rooms = SimpleNamespace(assembly=SimpleNamespace(settings=settings))
    app.include_router(router)
    return TestClient(app)


@cache
def parsed() -> Element:
    """The page as a tree; raises on the first breach of the HTML Standard."""
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    tree: Element = parser.parse(try_html())
    return tree


def all_scripts() -> str:
    """The whole of the page's script."""
    return "\n".join(file.read_text(encoding="utf-8") for file in SCRIPTS)


def ids() -> list[str]:
    """Every id of the page."""
    return [one.attrib["id"] for one in parsed().iter() if "id" in one.attrib]


def addresses() -> Iterator[str]:
    """What the page loads or leads to."""
    for one in parsed().iter():
        yield from (one.attrib[name] for name in ("src", "href") if name in one.attrib)


def test_page_parses_strictly() -> None:
    """Not one breach of the HTML Standard, and no id twice."""
    assert parsed().find("head/title") is not None
    assert [name for name, count in Counter(ids()).items() if count > 1] == []


def test_policy_lets_in_nothing_foreign_and_nothing_inline() -> None:
    """Script, style and calls come from and go to this origin; pictures besides from memory."""
    policy = client_of().get("/try").headers["content-security-policy"]
    directives = dict(part.strip().partition(" ")[::2] for part in policy.split(";"))
    assert directives == {
        "default-src": "'none'",
        "script-src": "'self'",
        "style-src": "'self'",
        "img-src": "'self' blob:",
        "connect-src": "'self'",
        "frame-ancestors": "'none'",
        "base-uri": "'none'",
        "form-action": "'none'",
        "require-trusted-types-for": "'script'",
        "trusted-types": "'none'",
    }
    for one in parsed().iter():
        assert not [name for name in one.attrib if name.startswith("on") or name == "style"]
        assert one.tag != "style"
        if one.tag == "script":
            assert one.attrib["src"]
            assert not one.text


def test_everything_the_page_loads_is_found() -> None:
    """Each file is served with its own type, under addresses that work below a path prefix."""
    client = client_of()
    loaded = [one for one in addresses() if one.startswith("try/")]
    assert len(loaded) == 3
    assert not [one for one in addresses() if one.startswith("/") or ":" in one]
    named = {f"try/{file.name}" for file in LOADED}
    assert named.issuperset(loaded)
    types = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}
    for file in LOADED:
        answer = client.get(f"/try/{file.name}")
        assert answer.status_code == 200
        assert answer.headers["content-type"].split(";")[0] == types[file.suffix]
        assert answer.headers["x-content-type-options"] == "nosniff"


def test_imported_scripts_exist() -> None:
    """Each module that a script imports is one of the files."""
    imported = set(re.findall(r'from "\./([^"]+)"', all_scripts()))
    assert imported
    assert imported <= {file.name for file in SCRIPTS}


def test_page_and_files_are_small() -> None:
    """The page with everything it loads stays under the bound of 150 kB."""
    files = sum(file.stat().st_size for file in LOADED)
    assert len(try_html().encode()) + files < MOST_BYTES


def test_nothing_names_a_foreign_host() -> None:
    """No address of another host stands in any file; the name of SVG's namespace is none."""
    texts = [try_html(), *(file.read_text(encoding="utf-8") for file in LOADED)]
    for text in texts:
        bare = text.replace('xmlns="http://www.w3.org/2000/svg"', "")
        assert re.findall(r"//[A-Za-z0-9]|@import|url\(", bare) == []


@pytest.mark.parametrize("forbidden", [SINKS, MEMORIES], ids=["sinks", "memories"])
def test_script_leaves_alone(forbidden: str) -> None:
    """No text becomes markup or script, and nothing is kept where it outlives the page."""
    assert re.findall(forbidden, all_scripts()) == []


def test_every_id_the_script_uses_exists() -> None:
    """Whatever the script looks up by id stands in the page."""
    script = all_scripts()
    used = set(re.findall(r'(?:byId|listen)\("([^"]+)"', script))
    used |= set(re.findall(r'guarded\("\w+", .+?, "([a-z-]+)"', script))
    cleared = re.search(r"for \(const id of \[([^\]]+)\]", script)
    assert cleared is not None
    used |= set(re.findall(r'"([^"]+)"', cleared[1]))
    assert len(used) > 20
    assert used <= set(ids())


def test_every_call_is_described() -> None:
    """Method and path of each call stand in the OpenAPI description."""
    paths = describe(Settings(database_url=""))["paths"]
    called = set(re.findall(r'"(GET|POST|PUT|PATCH|DELETE) (/[^"]*)"', all_scripts()))
    assert len(called) == 7
    for method, path in called:
        assert method.lower() in paths[path]


def test_choices_are_those_of_the_service() -> None:
    """A group for each attribute, a box for each consent, and the demonstration's artworks."""
    groups = {one.attrib.get("data-attribute") for one in parsed().iter("fieldset")} - {None}
    assert groups | {Attribute.SIZE} == set(Attribute)
    boxes = [one for one in parsed().iter("input") if one.attrib.get("class") == "consent"]
    assert [one.attrib["value"] for one in boxes] == list(Consent)
    offered = next(one for one in parsed().iter("select")).attrib["data-demo-ids"]
    assert offered.split() == [artwork.id for artwork in DEMO_ARTWORKS]


def test_every_field_has_a_label() -> None:
    """Fields are labelled, groups have a legend, and results are told in a live region."""
    labelled = {one.attrib.get("for") for one in parsed().iter("label")}
    inside = {id(field) for label in parsed().iter("label") for field in label.iter("input")}
    for field in (*parsed().iter("input"), *parsed().iter("select")):
        assert id(field) in inside or field.attrib["id"] in labelled
    for group in parsed().iter("fieldset"):
        assert group[0].tag == "legend"
    described = [one.attrib["aria-describedby"] for one in parsed().iter() if _described(one)]
    assert set(described) <= set(ids())
    status = next(one for one in parsed().iter() if one.attrib.get("id") == "status")
    assert status.attrib["role"] == "status"


def _described(one: Element) -> bool:
    return "aria-describedby" in one.attrib


def test_key_field_is_never_sent_by_itself() -> None:
    """The key's field has no name, so no form can carry it, and no browser is to remember it."""
    field = next(one for one in parsed().iter("input") if one.attrib.get("id") == "key")
    assert "name" not in field.attrib
    assert field.attrib["type"] == "password"
    assert field.attrib["autocomplete"] == "off"


def test_text_stands_out() -> None:
    """Each text colour has a contrast of 4.5 to 1 at least on every ground of the page.

    The ratio is that of WCAG 2.2, criterion 1.4.3, from memory.
    """
    sheet = (FOLDER / "try.css").read_text(encoding="utf-8")
    named = dict(re.findall(r"--(\w+):(#[0-9a-f]{6})", sheet))
    grounds = {"#ffffff", named["soft"], *re.findall(r"background:(#[0-9a-f]{6})", sheet)}
    for name in ("ink", "quiet", "mark", "good", "bad", "warn"):
        for ground in grounds:
            assert _contrast(named[name], ground) >= 4.5, (name, ground)


def _contrast(one: str, other: str) -> float:
    dark, light = sorted((_luminance(one), _luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def _luminance(srgb: str) -> float:
    parts = [int(srgb[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("path", ["/try", "/try/try.js"])
def test_served_only_where_the_description_is(path: str) -> None:
    """Without the setting docs there is no page and no script of it."""
    assert client_of().get(path).status_code == 200
    answer = client_of(docs=False).get(path)
    assert answer.status_code == 404
    assert answer.headers["content-type"] == "application/problem+json"


@pytest.mark.parametrize("name", ["try.html", "nothing.js", "..%2Ftry_page.py", ".css"])
def test_no_other_file_is_served(name: str) -> None:
    """Only what the page loads can be had; not the template, and nothing outside the folder."""
    assert client_of().get(f"/try/{name}").status_code == 404


@pytest.mark.parametrize("path", ["/try", "/try/try.css"])
def test_unchanged_is_not_sent_again(path: str) -> None:
    """A tag lets browsers keep it, and asks them to look for a newer one each time."""
    client = client_of()
    first = client.get(path)
    assert first.headers["cache-control"] == "no-cache"
    again = client.get(path, headers={"If-None-Match": first.headers["etag"]})
    assert again.status_code == 304
    assert again.content == b""
    assert again.headers["content-security-policy"] == first.headers["content-security-policy"]
