"""The project itself: documents that are true, locks that are whole, rooms that keep apart."""

from __future__ import annotations

import ast
import importlib
import json
import os
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import yaml
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from pydantic import BaseModel
from standardwebhooks import Webhook

from service import cli
from service.domain.events import EVENT_MEANINGS
from service.domain.rules import RULES
from service.domain.ticket_states import states_drawing
from service.intake.requests import (
    CheckRequest,
    EndpointRequest,
    MoveRequest,
    OrderRequest,
    QuoteRequest,
)
from service.notify.retry import WAITS_S
from service.notify.sender import Pace
from service.settings import Settings
from service.web.app import describe

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PYPROJECT = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
PROJECT = tomllib.loads(PYPROJECT)

TOP_LEVEL = frozenset(
    {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "service",
        "tests",
        "docker",
        "openapi_examples",
    }
)
LOCKS = {"demo": "docker/constraints.txt", "test": "docker/constraints-dev.txt"}
PROGRAMS = {"demo": ".venv/bin/garment-intake demo", "test": ".venv/bin/pytest"}
MOST_LINES = 500
REGISTRIES = tuple(
    f"{name}.{end}"
    for name, end in (
        ("pypi", "org"),
        ("pythonhosted", "org"),
        ("npmjs", "org"),
        ("npmjs", "com"),
        ("jsdelivr", "net"),
        ("unpkg", "com"),
        ("cdnjs.cloudflare", "com"),
        ("docker", "io"),
        ("ghcr", "io"),
        ("quay", "io"),
    )
)
_MACHINE_PATH = re.compile(r"(?<![\w.:/])/(?:work|tmp|root|home|opt|Users)/")
_UNFINISHED = re.compile(
    r"\b(?:TO"
    r"DO|FIX"
    r"ME|NotImplemented"
    r"Error)\b"
    r"|mark\.(?:skip|xf"
    r"ail)|pytest\.(?:skip|xf"
    r"ail)\(|importor"
    r"skip"
)  # written in halves, so that this file does not hold them


def _git_files() -> list[str]:
    git = shutil.which("git")
    if git is None:
        return []
    # A checkout that belongs to someone else is read all the same.
    command = [git, "-c", "safe.directory=*", "ls-files", "-z"]
    listed = subprocess.run(command, cwd=ROOT, capture_output=True, check=False)  # noqa: S603 - as written
    return [name for name in listed.stdout.decode().split("\0") if name]


def _walked_files() -> list[str]:
    """What a copy without its history holds, made files left out."""
    found = (path.relative_to(ROOT) for path in ROOT.rglob("*") if path.is_file())
    return [
        path.as_posix()
        for path in found
        if path.parts[0] in TOP_LEVEL and "__pycache__" not in path.parts
    ]


@cache
def project_files() -> tuple[str, ...]:
    """Every file of the project, as a path from its root."""
    names = _git_files() or _walked_files()
    return tuple(name for name in names if (ROOT / name).is_file())


def text_files() -> Iterator[tuple[str, str]]:
    """Name and text of every file that is text."""
    for name in project_files():
        try:
            yield name, (ROOT / name).read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue


def block_behind(document: str, marker: str) -> str:
    """The code block that follows ``<!-- marker -->``."""
    found = re.search(
        rf"^<!-- {re.escape(marker)} -->\n```\w*\n(.*?)^```", document, re.MULTILINE | re.DOTALL
    )
    assert found is not None, f"no block behind <!-- {marker} -->"
    return found.group(1)


def table_behind(document: str, marker: str) -> str:
    """The table that follows ``<!-- marker -->``, without its two heading lines."""
    found = re.search(rf"^<!-- {re.escape(marker)} -->\n((?:\|.*\n)+)", document, re.MULTILINE)
    assert found is not None, f"no table behind <!-- {marker} -->"
    return "\n".join(found.group(1).splitlines()[2:])


def rows(cells: Sequence[Sequence[str]]) -> str:
    """The lines of a table."""
    return "\n".join(f"| {' | '.join(row)} |" for row in cells)


# The two commands


@pytest.mark.parametrize("name", ["demo", "test"])
def test_the_two_commands_install_from_the_locks(name: str) -> None:
    """Each is one line that takes everything from a lock, by hash, and then does its work."""
    install = (
        "python3 -m venv .venv"
        f" && .venv/bin/pip install -q --require-hashes -r {LOCKS[name]}"
        " && .venv/bin/pip install -q --no-deps --no-build-isolation -e ."
    )
    assert block_behind(README, f"command: {name}") == f"{install} && {PROGRAMS[name]}\n"
    assert (ROOT / LOCKS[name]).is_file()
    assert PROJECT["project"]["scripts"] == {"garment-intake": "service.cli:main"}


def test_readme_opens_with_the_job_and_the_commands() -> None:
    """After its title comes one paragraph, and the first two code blocks are the commands."""
    title, paragraph, *_ = README.split("\n\n")
    assert title.startswith("# ")
    assert len(paragraph.split()) > 50
    blocks = re.findall(r"^```\w+\n(.*?)^```", README, re.MULTILINE | re.DOTALL)
    assert blocks[:2] == [block_behind(README, f"command: {name}") for name in ("demo", "test")]


def test_ci_takes_its_command_from_readme(tmp_path: Path) -> None:
    """Without the command in README.md the run fails at once and says what is missing."""
    (tmp_path / ".ci").mkdir()
    script = tmp_path / ".ci" / "run"
    shutil.copy(ROOT / ".ci" / "run", script)
    (tmp_path / "README.md").write_text(README.replace("<!-- command: test -->", ""))
    ran = subprocess.run([script], capture_output=True, text=True, check=False)  # noqa: S603 - ours
    assert ran.returncode == 1
    assert "README.md has no block behind" in ran.stderr
    assert "pip install" not in script.read_text(encoding="utf-8")


@pytest.mark.parametrize("name", [".ci/run", "docker/lock"])
def test_scripts_stop_at_the_first_fault(name: str) -> None:
    """Both can be run, and neither goes on after a command that failed."""
    assert os.access(ROOT / name, os.X_OK)
    assert "\nset -euo pipefail\n" in (ROOT / name).read_text(encoding="utf-8")


# What README.md states


def test_the_settings_are_those_of_the_class() -> None:
    """Name, default and meaning of every setting."""

    def shown(default: object) -> str:
        if default is None or default == "":
            return "empty"
        return f"`{str(default).lower() if isinstance(default, bool) else default}`"

    expected = [
        (f"`GARMENT_{name.upper()}`", shown(field.default), field.description or "")
        for name, field in Settings.model_fields.items()
    ]
    assert table_behind(README, "settings") == rows(expected)


def test_the_states_are_drawn_as_they_are() -> None:
    """The drawing of a ticket's states is that of the table of moves."""
    assert f"```mermaid\n{states_drawing().strip()}\n```" in DEVELOPERS


def test_the_operations_are_those_of_the_application() -> None:
    """Every operation with the scopes it admits; the owner's goes without saying."""
    paths: dict[str, dict[str, Any]] = describe(Settings(database_url=""))["paths"]

    def scopes(operation: dict[str, Any]) -> str:
        if not operation.get("security"):
            return "anyone"
        admitted = set(operation["security"][0]["key"]) - {"owner"}
        return ", ".join(f"`{scope}`" for scope in sorted(admitted, reverse=True)) or "`owner`"

    expected = [
        (f"`{method.upper()} {path}`", operation["summary"], scopes(operation))
        for path, operations in paths.items()
        for method, operation in operations.items()
    ]
    assert table_behind(README, "operations") == rows(expected)


def test_the_events_are_those_that_are_told() -> None:
    """Every event type with its meaning."""
    expected = [(f"`{name}`", meaning) for name, meaning in EVENT_MEANINGS.items()]
    assert table_behind(README, "events") == rows(expected)


def test_the_retry_plan_is_the_senders() -> None:
    """The wait before each attempt, and how long a receiver may take."""

    def words(wait_s: int) -> str:
        for unit, size in (("h", 3_600), ("min", 60), ("s", 1)):
            if wait_s >= size and wait_s % size == 0:
                return f"{wait_s // size} {unit}"
        return "at once"

    assert table_behind(README, "retries") == rows([("after", *map(words, WAITS_S))])
    assert f"within {Pace().deadline_s:g} seconds" in README


def test_the_shown_verification_believes_genuine_messages_alone() -> None:
    """Signed by the Standard Webhooks reference library; changed, late or bare ones are refused."""
    known: dict[str, Any] = {}
    exec(compile(block_behind(README, "example: verify"), "README.md", "exec"), known)  # noqa: S102 - our own text
    is_genuine: Callable[[str, dict[str, str], bytes, float], bool] = known["is_genuine"]
    secret = "whsec_" + "QUJDREVGR0hJSktMTU5PUFFSU1RVVldY"
    sent_at, body = datetime(2026, 3, 2, 9, 0, tzinfo=UTC), b'{"type":"order.sent"}'
    signature = Webhook(secret).sign("evt_1", sent_at, body.decode())
    at_s = sent_at.timestamp()
    headers = {
        "webhook-id": "evt_1",
        "webhook-timestamp": str(int(at_s)),
        "webhook-signature": f"v1,AAAA {signature}",
    }
    assert is_genuine(secret, headers, body, at_s + 300)
    assert not is_genuine(secret, headers, body, at_s + 301)
    assert not is_genuine(secret, headers, body + b" ", at_s)
    assert not is_genuine(secret, {**headers, "webhook-id": "evt_2"}, body, at_s)
    assert not is_genuine(secret, {}, body, at_s)


def test_the_shown_requests_can_be_read() -> None:
    """What the worked example sends fits the models, and what it shows is JSON."""
    models: dict[str, tuple[type[BaseModel], ...]] = {
        "lines": (CheckRequest, QuoteRequest),
        "url": (EndpointRequest,),
        "quote_id": (OrderRequest,),
        "move": (MoveRequest,),
    }
    wish = re.findall(r"<<END\n(.*?)\nEND", README, re.DOTALL)
    plain = re.findall(r"-d '(\{.*?\})'", README)
    escaped = [text.replace('\\"', '"') for text in re.findall(r'-d "(\{.*?\})"', README)]
    sent = [text.replace("$ARTWORK", "art_1").replace("$QUOTE", "q") for text in wish + plain]
    sent += [text.replace("$QUOTE", "quote_1") for text in escaped]
    assert {next(iter(json.loads(text))) for text in sent} == models.keys()
    for text in sent:
        for model in models[next(iter(json.loads(text)))]:
            model.model_validate_json(text)
    for shown in re.findall(r"^```json\n(.*?)^```", README, re.MULTILINE | re.DOTALL):
        json.loads(shown)


def test_every_command_named_exists(capsys: pytest.CaptureFixture[str]) -> None:
    """Each ``garment-intake ...`` in the documents is a command that explains itself."""
    named = set(re.findall(r"garment-intake ([a-z]+(?: [a-z]+)?)", README + DEVELOPERS))
    assert len(named) > 6
    for words in named:
        with pytest.raises(SystemExit) as ended:
            cli.main([*words.split(), "--help"])
        assert (words, ended.value.code) == (words, 0)
    assert "usage: garment-intake" in capsys.readouterr().out


# What DEVELOPERS.md states


def _resolves(dotted: str) -> bool:
    parts = dotted.split(".")
    for length in range(len(parts), 0, -1):
        try:
            found: Any = importlib.import_module(".".join(parts[:length]))
        except ModuleNotFoundError:
            continue
        for part in parts[length:]:
            found = getattr(found, part, None)
        return found is not None
    return False


@pytest.mark.parametrize("document", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_what_the_documents_name_exists(document: str) -> None:
    """Every path, test and dotted name in backticks."""
    named = re.findall(r"`((?:service|tests|docker|openapi_examples|\.ci)/[^`\s]*)`", document)
    for name in named:
        path, _, test = name.partition("::")
        assert (ROOT / path).exists(), name
        if test:
            tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
            kinds = (ast.FunctionDef, ast.AsyncFunctionDef)
            assert test in {node.name for node in tree.body if isinstance(node, kinds)}, name
    dotted = re.findall(r"`(service(?:\.\w+)+)`", document)
    assert [name for name in dotted if not _resolves(name)] == []


def test_every_rule_is_listed() -> None:
    """Id, title and the choices each rule reads, in the order in which they run."""
    expected = [(f"`{rule.id}`: {rule.title}", ", ".join(sorted(rule.reads))) for rule in RULES]
    assert table_behind(DEVELOPERS, "rules") == rows(expected)


# Locks and configuration


def _locked(lock: str) -> dict[str, str]:
    """Version by name; every line of the lock is a pin or a hash of the pin above it."""
    entry = re.compile(
        r"^([a-z0-9._-]+)==(\S+)(?: ; [^\n\\]+)?((?: \\\n    --hash=sha256:[0-9a-f]{64})+)\n",
        re.MULTILINE,
    )
    text = (ROOT / lock).read_text(encoding="utf-8")
    assert entry.sub("", text) == ""
    return {found.group(1): found.group(2) for found in entry.finditer(text)}


def _wanted(*groups: str) -> Iterator[Requirement]:
    listed: list[Any] = list(PROJECT["project"]["dependencies"])
    for group in groups:
        listed += PROJECT["dependency-groups"][group]
    return (Requirement(one) for one in listed if isinstance(one, str))


def test_the_locks_pin_by_hash_what_the_project_asks_for() -> None:
    """No line without a hash, no address; both locks agree, and hold what pyproject.toml wants."""
    built, tested = _locked(LOCKS["demo"]), _locked(LOCKS["test"])
    assert len(built) > 20
    assert built.items() <= tested.items()
    for locked, groups in ((built, ["build"]), (tested, ["build", "dev"])):
        for wanted in _wanted(*groups):
            version = locked.get(canonicalize_name(wanted.name))
            assert version is not None, wanted
            assert wanted.specifier.contains(version), wanted


def test_every_rule_left_out_has_its_reason() -> None:
    """Each line of ruff's ignore list ends in a comment that says why."""
    found = re.search(r"^ignore = \[\n(.*?)^\]", PYPROJECT, re.MULTILINE | re.DOTALL)
    assert found is not None
    lines = found.group(1).splitlines()
    assert [line for line in lines if not re.search(r'",\s+# \w.{4,}', line)] == []


def test_hooks_fetch_nothing() -> None:
    """Every hook is local and runs what the lock installed."""
    hooks = yaml.safe_load((ROOT / ".pre-commit-config.yaml").read_text(encoding="utf-8"))
    assert [repo["repo"] for repo in hooks["repos"]] == ["local"]
    assert {hook["entry"].split("/")[0] for hook in hooks["repos"][0]["hooks"]} == {".venv"}


# Rooms and files


def test_the_rooms_import_inwards_only() -> None:
    """The import contract of pyproject.toml is kept."""
    program = Path(sys.executable).with_name("lint-imports")
    ran = subprocess.run([program], cwd=ROOT, capture_output=True, text=True, check=False)  # noqa: S603 - pinned
    assert ran.returncode == 0, ran.stdout


def test_every_room_is_in_the_contract() -> None:
    """A room that the layers do not name could import what it likes."""
    layers = PROJECT["tool"]["importlinter"]["contracts"][0]["layers"]
    named = {name.strip() for layer in layers for name in layer.split("|")}
    rooms = {f"service.{path.parent.name}" for path in (ROOT / "service").glob("*/__init__.py")}
    assert rooms <= named


def test_the_top_holds_nothing_else() -> None:
    """Whoever opens the project finds its documents and its rooms."""
    tops = {name.split("/")[0] for name in project_files()}
    assert {top for top in tops if not top.startswith(".")} <= TOP_LEVEL


def test_no_module_is_long() -> None:
    """A module that outgrows this holds two subjects."""
    modules = [path for path in (ROOT / "service").rglob("*.py") if "__pycache__" not in path.parts]
    assert len(modules) > 50
    lines = {path: len(path.read_text(encoding="utf-8").splitlines()) for path in modules}
    assert {path: count for path, count in lines.items() if count > MOST_LINES} == {}


def test_nothing_is_left_unfinished() -> None:
    """No note to do it later, no stub, no test that does not run."""
    assert len(project_files()) > 100
    assert [(name, word) for name, text in text_files() for word in _UNFINISHED.findall(text)] == []


def test_no_file_names_a_machine_or_a_registry() -> None:
    """The project builds anywhere, from whatever index its builder uses."""
    assert [
        (name, found.group())
        for name, text in text_files()
        for found in _MACHINE_PATH.finditer(text)
    ] == []
    assert [
        (name, host) for name, text in text_files() for host in REGISTRIES if host in text
    ] == []
