"""Send every example file's request to the demo shop and write the answer into the file.

Run ``python -m tests.web.write_example_answers`` after a change of answers, and read the diff.
"""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

from service.web.examples import examples_folder
from tests.web.example_shop import example_shop


def main() -> None:
    """Rewrite the answers of all example files, in the order of their names."""
    folder = examples_folder()
    if folder is None:
        raise SystemExit("there is no folder of examples")
    with tempfile.TemporaryDirectory() as data, example_shop(Path(data)) as send:
        for path in sorted(folder.glob("*.json")):
            content = json.loads(path.read_text(encoding="utf-8"))
            status, body = send(content)
            content["answer"] = {"status": status} | ({} if body is None else {"body": body})
            text = json.dumps(content, indent=2, ensure_ascii=False)
            path.write_text(f"{text}\n", encoding="utf-8")


if __name__ == "__main__":
    main()
