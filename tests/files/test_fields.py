"""Every field explains itself, no key is taken that is not listed, and no pattern can run away."""

import re
from re import _constants as sre
from re import _parser

import pytest

from ledger.files.schemas import BASE_URI, shipped_schemas

SCHEMAS = shipped_schemas().by_uri
BRANCHES = {"if", "not", "then", "else", "allOf", "anyOf"}


def parts(schema, where="", *, in_rule=False):
    """Every schema within a schema, with its place, and whether it only states a rule."""
    if isinstance(schema, list):
        for index, part in enumerate(schema):
            yield from parts(part, f"{where}/{index}", in_rule=in_rule)
    elif isinstance(schema, dict):
        yield where, schema, in_rule
        for key, part in schema.items():
            if key in {"properties", "$defs"}:
                for name, own in part.items():
                    yield from parts(own, f"{where}/{key}/{name}", in_rule=in_rule)
            elif key not in {"examples", "enum", "const", "default", "required"}:
                # A branch without a type of its own states a rule about a value told elsewhere.
                rule = in_rule or key in {"not", "if", "allOf", "anyOf"}
                yield from parts(part, f"{where}/{key}", in_rule=rule)


def fields():
    for uri, schema in SCHEMAS.items():
        for where, part, in_rule in parts(schema, uri.removeprefix(BASE_URI)):
            if not in_rule and "/properties/" in where and where.split("/")[-2] == "properties":
                yield where, part


ALL = [(where, part) for uri, schema in SCHEMAS.items() for where, part, _ in parts(schema, uri.removeprefix(BASE_URI))]  # fmt: skip


def test_every_field_has_a_title_a_description_and_an_example():
    seen = 0
    for where, field in fields():
        for word in ("title", "description", "examples"):
            assert field.get(word), f"{where} has no {word}"
        assert field["description"].endswith((".", ")")), where
        seen += 1
    assert seen > 150


def test_every_mapping_refuses_keys_that_it_does_not_list():
    mappings = [(where, part) for where, part in ALL if part.get("type") == "object"]
    assert len(mappings) > 25
    for where, part in mappings:
        if "properties" in part:
            assert part.get("additionalProperties") is False, where
        else:
            assert isinstance(part.get("additionalProperties"), dict), where


def test_every_number_has_a_lower_bound_or_may_be_anything_by_its_meaning():
    """What is unbounded: what is added to, or multiplied by, in the map of an existing log."""
    free = {
        where.rpartition("/")[2]
        for where, part in ALL
        if part.get("type") in ("number", "integer")
        and not where.endswith("/if")
        and not {"minimum", "exclusiveMinimum"} & part.keys()
    }
    assert free == {"times", "plus"}


PATTERNS = sorted({part["pattern"] for _, part in ALL if "pattern" in part})
END = "end"
ANY = frozenset(map(chr, range(128))) | {"other"}


def characters(items):
    found = set()
    for kind, value in items:
        if kind is sre.NEGATE:
            return ANY - characters(items[1:])
        if kind is sre.LITERAL:
            found.add(chr(value) if value < 128 else "other")
        elif kind is sre.RANGE:
            found |= {chr(code) for code in range(value[0], value[1] + 1)}
        elif kind is sre.CATEGORY:
            word = {sre.CATEGORY_SPACE: r"\s", sre.CATEGORY_NOT_SPACE: r"\S", sre.CATEGORY_DIGIT: r"\d"}[value]  # fmt: skip
            found |= {c for c in ANY if re.fullmatch(word, c if len(c) == 1 else "é")}
    return found


def firsts(sequence, follow, *, in_loop=False):
    """What can come first in a sequence that `follow` comes after; fails where two ways begin alike.

    Where the next character tells whether to go round again, and which way, there is one way to
    match (a deterministic expression by Brüggemann-Klein and Wood 1998). Words to choose from
    outside a loop may begin alike: they are few.
    """
    for kind, value in reversed(list(sequence)):
        if kind is sre.LITERAL:
            follow = characters([(kind, value)])
        elif kind is sre.IN:
            follow = characters(value)
        elif kind is sre.ANY:
            follow = ANY - {"\n"}
        elif kind is sre.MAX_REPEAT:
            least, most, body = value
            own = firsts(body, follow, in_loop=in_loop or most > 1)
            if most != least:
                assert not own & follow, (own & follow, value)
            if most > 1:
                firsts(body, own | follow, in_loop=True)
            follow = own | follow if least == 0 else own
        elif kind is sre.SUBPATTERN:
            follow = firsts(value[3], follow, in_loop=in_loop)
        elif kind is sre.BRANCH:
            ways = [firsts(way, follow, in_loop=in_loop) for way in value[1]]
            for number, way in enumerate(ways):
                assert not in_loop or not any(way & other for other in ways[:number]), value
            follow = set().union(*ways)
        elif kind in {sre.AT, sre.ASSERT_NOT}:
            continue
        else:
            pytest.fail(f"no rule for {kind}")
    return set(follow)


@pytest.mark.parametrize("pattern", PATTERNS)
def test_a_pattern_holds_the_whole_text_and_has_one_way_to_match(pattern):
    assert pattern.startswith("^")
    # `$` would let a line end through in one of the two engines.
    assert pattern.endswith(r"(?![\s\S])")
    assert "$" not in pattern
    firsts(_parser.parse(pattern.removesuffix(r"(?![\s\S])")), {END})


@pytest.mark.parametrize(
    "bad", ["^(a+)+", "^(a|a)*", "^a*a", "^a*a*", "^((ab|[a-c]c)d?)*", "^[a-z]*x", "^(a*)*"]
)
def test_the_rule_finds_patterns_that_can_run_away(bad):
    with pytest.raises(AssertionError):
        firsts(_parser.parse(bad), {END})


def test_a_line_end_behind_an_example_is_refused():
    tried = 0
    for where, part in ALL:
        for example in part.get("examples", ()):
            if "pattern" in part and isinstance(example, str):
                assert re.search(part["pattern"], example), where
                assert not re.search(part["pattern"], example + "\n"), where
                tried += 1
    assert tried > 5
