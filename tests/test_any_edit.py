"""Whatever a person does to the files, the check answers, and a book comes of files without errors."""

import re

from campaign import examples
from hypothesis import given, settings
from hypothesis import strategies as st
from sound_site import AS_OF, SOUND, Files, texts_below

from ledger.pipeline import book_files, check, load

SOUND_FILES = texts_below(SOUND)
WORD = re.compile(r"[\w.-]+")
WORDS = sorted({word for text in SOUND_FILES.values() for word in WORD.findall(text)})
ODD = ["0", "-1", "1e9", "1e-9", "null", "true", "[]", "{}", '""', "2026-02-30", "9999-12-31", "1900-01-01", "~", "brush-p2/", "/", "#1", "2026-11-17T0640-m-tarrow#2", "2026-11-03T0640-m-tarrow#1"]  # fmt: skip

edits = st.tuples(
    st.sampled_from(sorted(SOUND_FILES)),
    st.sampled_from(["word", "word", "word", "odd", "odd", "drop-line", "repeat-line", "drop-file"]),
    st.integers(0, 200),
    st.sampled_from(WORDS),
    st.sampled_from(ODD),
)  # fmt: skip


def edited(files, edit):
    path, how, at, word, odd = edit
    text = files.get(path)
    if text is None:
        return files
    if how == "drop-file":
        return {name: kept for name, kept in files.items() if name != path}
    if how in {"drop-line", "repeat-line"}:
        lines = text.splitlines(keepends=True)
        number = at % len(lines) if lines else 0
        lines[number : number + 1] = lines[number : number + 1] * (2 if how == "repeat-line" else 0)
        return {**files, path: "".join(lines)}
    found = list(WORD.finditer(text))
    if not found:
        return files
    chosen = found[at % len(found)]
    new = word if how == "word" else odd
    return {**files, path: text[: chosen.start()] + new + text[chosen.end() :]}


@settings(max_examples=examples(150))
@given(st.lists(edits, min_size=1, max_size=3))
def test_no_edit_is_met_with_a_trace(made):
    files = SOUND_FILES
    for edit in made:
        files = edited(files, edit)
    loaded = load(Files(files))
    found = check(loaded, AS_OF)
    for one in found:
        assert one.message
        assert one.position.path
        assert one.expected or one.remedy or one.nearest or one.position.line == 0 or one.rule.startswith("bad-"), one  # fmt: skip
    if loaded.ledger is not None and not loaded.has_errors:
        assert book_files(loaded.ledger, AS_OF, html=True)
