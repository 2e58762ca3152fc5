"""Schemas come from their folder alone."""

import json
import re
import socket

import pytest

from ledger.files.paths import Kind
from ledger.files.schema_explain import errors_of
from ledger.files.schema_keywords import _FAULT_OF
from ledger.files.schemas import FORMATS, Schemas, shipped_schemas, uri_of

TELLS = {"$ref", "$schema", "$defs", "title", "description", "examples", "default"}
TELLS |= {"x-expected", "x-wrong", "x-right"}
LEADS = {"allOf", "then", "else", "properties", "prefixItems", "propertyNames"}
OF_KEYS = {"additionalProperties", "required", "uniqueItems", "not"}


@pytest.fixture
def no_network(monkeypatch):
    def refuse(*args, **kwargs):
        raise AssertionError("a schema asked for the network")

    monkeypatch.setattr(socket, "socket", refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)
    monkeypatch.setattr(socket, "create_connection", refuse)


@pytest.fixture
def listener():
    """A server on this machine that counts who calls; the fast validator has its own sockets."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(0.2)
        yield server


@pytest.mark.parametrize("where", ["listener", "file", "https"])
def test_a_remote_reference_is_refused_and_never_fetched(where, listener, no_network, tmp_path):
    (tmp_path / "x.json").write_text("{}", encoding="utf-8")
    uri = {
        "listener": f"http://127.0.0.1:{listener.getsockname()[1]}/x.json",
        "file": (tmp_path / "x.json").as_uri(),
        "https": "https://example.com/x.json",
    }[where]
    schemas = Schemas(by_uri={uri_of(Kind.SITE): {"$ref": uri}})
    with pytest.raises(ValueError, match="nothing is fetched"):
        schemas.accepts(Kind.SITE, {})
    with pytest.raises(ValueError, match="nothing is fetched"):
        list(errors_of({}, Kind.SITE, schemas))
    with pytest.raises(TimeoutError):
        listener.accept()


def test_a_format_that_nobody_checks_is_refused():
    schemas = Schemas(by_uri={uri_of(Kind.SITE): {"format": "telephone"}})
    with pytest.raises(ValueError, match="telephone"):
        schemas.accepts(Kind.SITE, "x")


def test_the_folder_holds_a_schema_for_every_kind():
    assert {uri_of(kind) for kind in Kind} < shipped_schemas().by_uri.keys()


def _nodes(node):
    if isinstance(node, dict):
        yield node
        node = list(node.values())
    if isinstance(node, list):
        for item in node:
            yield from _nodes(item)


def test_shipped_schemas_use_only_what_validators_take_alike():
    for uri, schema in shipped_schemas().by_uri.items():
        for node in _nodes(schema):
            # `$` lets a line feed through in Python, and \Z is unknown elsewhere.
            pattern = node.get("pattern", "")
            if isinstance(pattern, str):
                assert not re.search(r"\$|\\Z|\\d|\\w", pattern), (uri, pattern)
            name = node.get("format")
            assert not isinstance(name, str) or name in FORMATS, (uri, name)
            reference = node.get("$ref", "")
            assert "://" not in json.dumps(reference), (uri, reference)


def _rules(schema):
    """The schemas that a value is held against, without the conditions."""
    yield schema
    for key, part in schema.items():
        if key in {"$defs", "properties"}:
            below = part.values()
        elif key in {"allOf", "anyOf", "prefixItems"}:
            below = part
        else:
            below = [part] if key in {"then", "else", "items", "additionalProperties"} else []
        for one in below:
            if isinstance(one, dict):
                yield from _rules(one)


def test_there_are_words_for_each_keyword_of_the_schemas():
    used = [rule for schema in shipped_schemas().by_uri.values() for rule in _rules(schema)]
    known = TELLS | LEADS | {"if"} | OF_KEYS | _FAULT_OF.keys()
    assert {keyword for rule in used for keyword in rule} <= known
    for rule in used:
        assert all(one.keys() == {"required"} for one in rule.get("anyOf", ()))
        assert rule.get("not", {"required": ()}).keys() == {"required"}
        assert rule.get("additionalProperties", False) is not True
