"""The language server that editors use for YAML, spoken to over its own protocol.

It comes as a package of npm; `YAML_LANGUAGE_SERVER` names its folder.
"""

import json
import os
import subprocess
from pathlib import Path
from typing import Any

from tools import find_tool, missing


class LanguageServer:
    """The server for one workspace folder; nothing is fetched."""

    def __init__(self, workspace: Path, settings: dict[str, Any]) -> None:
        package = os.environ.get("YAML_LANGUAGE_SERVER")
        if not package:
            missing(
                "yaml-language-server is not there: `npm install yaml-language-server` and name "
                "its folder in YAML_LANGUAGE_SERVER"
            )
        self._settings = settings
        self._next = 0
        self._opened = 0
        self._uris: set[str] = set()
        self._process = subprocess.Popen(
            [find_tool("node"), str(Path(package) / "bin/yaml-language-server"), "--stdio"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            cwd=workspace,
        )
        folder = {"uri": workspace.as_uri(), "name": workspace.name}
        text_document = {
            "completion": {"completionItem": {"snippetSupport": True}},
            "publishDiagnostics": {},
        }
        self._ask(
            "initialize",
            {
                "processId": os.getpid(),
                "rootUri": workspace.as_uri(),
                "workspaceFolders": [folder],
                "capabilities": {
                    "textDocument": text_document,
                    "workspace": {"configuration": True, "workspaceFolders": True},
                },
            },
        )
        self._tell("initialized", {})

    def end(self) -> None:
        self._ask("shutdown", None)
        self._tell("exit", None)
        self._process.wait(timeout=60)
        for stream in (self._process.stdin, self._process.stdout):
            stream.close()

    def faults(self, path: Path, text: str) -> list[tuple[int, str]]:
        """What is underlined in a file with this text: the line, from 1, and the words."""
        return self._shown(path, text)[1]

    def offered(self, path: Path, text: str) -> dict[str, str]:
        """What is offered where `|` stands in the text: the label, and what it would put there."""
        before, _, after = text.partition("|")
        # What is underlined is told once the settings and the schema are read.
        uri, _ = self._shown(path, before + after)
        position = {"line": before.count("\n"), "character": len(before.rpartition("\n")[2])}
        answer = self._ask(
            "textDocument/completion", {"textDocument": {"uri": uri}, "position": position}
        )
        items = answer["items"] if isinstance(answer, dict) else answer or []
        return {
            one["label"]: one.get("textEdit", {}).get("newText", one.get("insertText", ""))
            for one in items
        }

    def _shown(self, path: Path, text: str) -> tuple[str, list[tuple[int, str]]]:
        """Open a file, under a name of its own: the server does not tell of which text it speaks."""
        self._opened += 1
        if path.as_uri() in self._uris:
            path = path.with_name(f"{path.stem}{self._opened}{path.suffix}")
        uri = path.as_uri()
        self._uris.add(uri)
        document = {"uri": uri, "languageId": "yaml", "version": 1, "text": text}
        self._tell("textDocument/didOpen", {"textDocument": document})
        while True:
            message = self._read()
            told = message.get("params") or {}
            if message.get("method") == "textDocument/publishDiagnostics" and told["uri"] == uri:
                found = told["diagnostics"]
                return uri, [(one["range"]["start"]["line"] + 1, one["message"]) for one in found]

    def _ask(self, method: str, parameters: Any) -> Any:
        self._next += 1
        self._send({"id": self._next, "method": method, "params": parameters})
        while True:
            message = self._read()
            if message.get("id") == self._next and "method" not in message:
                assert "error" not in message, message
                return message["result"]

    def _tell(self, method: str, parameters: Any) -> None:
        self._send({"method": method, "params": parameters})

    def _send(self, message: dict[str, Any]) -> None:
        body = json.dumps({"jsonrpc": "2.0", **message}).encode()
        self._process.stdin.write(b"Content-Length: %d\r\n\r\n%b" % (len(body), body))
        self._process.stdin.flush()

    def _read(self) -> dict[str, Any]:
        """The next message; what the server asks is answered on the way."""
        length = 0
        while line := self._process.stdout.readline().strip():
            name, _, value = line.partition(b":")
            if name.lower() == b"content-length":
                length = int(value)
        message = json.loads(self._process.stdout.read(length))
        if "id" in message and "method" in message:
            wanted = message.get("params") or {}
            result = (
                [self._settings.get(item.get("section", "")) for item in wanted["items"]]
                if message["method"] == "workspace/configuration"
                else None
            )
            self._send({"id": message["id"], "result": result})
        return message
