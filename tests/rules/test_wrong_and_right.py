"""The two examples of each rule: the wrong one raises its warning alone, the right one none."""

import json
import re
from collections import Counter
from datetime import date

import pytest
from example import copy_example
from sound_site import found_in, texts_below

from ledger.cli.main import main
from ledger.files.yaml_fast import accept
from ledger.rules.questions import EXAMPLES, QUESTIONS

AS_OF = date(2026, 12, 2)
PART = re.compile(r"^# (\S+\.yaml)\n", re.MULTILINE)


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    return texts_below(copy_example(tmp_path_factory.mktemp("site"), since="2026-11-20"))


def merged(old, new):
    """A JSON Merge Patch (RFC 7396): null takes a key away, a list takes the place of another."""
    if not (isinstance(old, dict) and isinstance(new, dict)):
        return new
    both = {**old, **{key: merged(old.get(key), part) for key, part in new.items()}}
    return {key: part for key, part in both.items() if part is not None}


def with_example(site, text):
    """The site with what an example says, in the files it names; else in a visit of its own."""
    files, (first, *parts) = dict(site), PART.split(text)
    if first:
        own = accept(first)
        head = own if isinstance(own, dict) else {"at": "2026-12-01T14:00", "by": "m-osterby"}
        at = head["at"].replace(":", "")
        parts = [f"observations/{at[:4]}/{at[5:7]}/{at}-{head['by']}.yaml", first]
    for path, part in zip(parts[::2], parts[1::2], strict=True):
        new = accept(part)
        if isinstance(new, list) and path.startswith("setpoints/"):
            new = [*accept(files.get(path, "[]")), *new]
        elif isinstance(new, list):
            day, hour, minute, by = re.search(r"([\d-]+)T(\d\d)(\d\d)-([a-z-]+)", path).groups()
            new = {"at": f"{day}T{hour}:{minute}", "by": by, "entries": new}
        whole = merged(accept(files[path]) if path in files else {}, new)
        files[path] = json.dumps(whole)
    return files


@pytest.mark.parametrize("rule", QUESTIONS)
def test_the_wrong_example_raises_its_rule_alone_and_the_right_one_nothing(rule, site):
    before = Counter(one.rule for one in found_in(site, AS_OF))
    wrong, right = (
        Counter(one.rule for one in found_in(with_example(site, text), AS_OF))
        for text in EXAMPLES[rule].values()
    )
    assert wrong - before == {rule: 1}
    assert right == before


def test_json_carries_both_examples(capsys):
    assert main(["explain", "stands-twice", "--format", "json"]) == 0
    data = json.loads(capsys.readouterr().out)["data"]
    assert data == {"stands-twice": {"why": QUESTIONS["stands-twice"], **EXAMPLES["stands-twice"]}}
