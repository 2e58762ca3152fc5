"""Whatever a person does to the files, the check answers, and a book comes of files without errors."""

import re

from campaign import examples
from hypothesis import given, settings
from hypothesis import strategies as st
from sound_site import AS_OF, SOUND, Files, texts_below

from ledger.cli.diagnostics_forms import FORMATS, render
from ledger.site.pipeline import check, load
from ledger.site.rendering import book_files

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


# What editors, mail programs, phones and broken disks leave in a file: halves of pairs as escapes and
# as bytes, NULs, byte order marks, controls, separators, marks that reorder, signs of YAML.
ODD_BYTES = [
    b'"\\ud83d\\ude00"', b'"\\ud83d"', b'"\\ude00": 1\n', b'"\\U00110000"', b'"\\UFFFFFFFF"', b'"\\0"', b'"\\u2028"', b"\x00", b"\x1b[31m",
    b"\xef\xbb\xbf", b"\xff\xfe", b"\xed\xa0\xbd", b"\xc3", b"\xe2\x80\xa8", b"\xe2\x80\xae", b"\xef\xbf\xbf", b"\xc2\x85", b"\r", b"\t",
    b"\xf0\x9f\x98\x80", b"e\xcc\x81" * 300, b"x" * 70_000, b"[" * 40, b"9" * 30, b"{", b"}", b"]", b'"', b"'", b"|\n", b"? ", b"&a ", b"*a",
    b"!!int ", b"%YAML 1.2\n", b"---\n", b"...\n", b"<<: ", b".inf", b"1e308", b"-0", b": ", b"- ", b"#",
]  # fmt: skip

byte_edits = st.tuples(
    st.sampled_from(sorted(SOUND_FILES)),
    st.sampled_from(["here", "word", "utf-16", "utf-16-be", "latin-1"]),
    st.integers(0, 3000),
    st.integers(0, 4),
    st.sampled_from(ODD_BYTES),
)


class RawFiles(Files):
    def read(self, path):
        return self._files[path]


def with_bytes(files, edit):
    path, how, at, cut, odd = edit
    raw = files[path]
    if how == "here":
        start = at % (len(raw) + 1)
        raw = raw[:start] + odd + raw[start + cut :]
    elif how == "word":
        # In the place of a key or a value, where it does most.
        found = list(re.finditer(rb"[\w.-]+", raw))
        if found:
            chosen = found[at % len(found)]
            raw = raw[: chosen.start()] + odd + raw[chosen.end() :]
    else:
        raw = raw.decode("utf-8", "replace").encode(how, "replace")
    return {**files, path: raw}


@settings(max_examples=examples(100))
@given(st.lists(byte_edits, min_size=1, max_size=3))
def test_no_bytes_are_met_with_a_trace(made):
    files = {path: text.encode() for path, text in SOUND_FILES.items()}
    for edit in made:
        files = with_bytes(files, edit)
    loaded = load(RawFiles(files))
    found = check(loaded, AS_OF)
    assert not [one for one in found if one.rule == "program-fault"]
    for one in found:
        assert one.message
        assert one.remedy
        assert one.position.path
    for form in FORMATS:
        # No half of a pair is left that could not be written.
        assert render(found, form).encode() or not found
    if loaded.ledger is not None and not loaded.has_errors:
        for text in book_files(loaded.ledger, AS_OF, html=True).values():
            assert text.encode()
