"""For what people mistype, the first message names the slip at its place, and says how to mend it."""

import sys

import pytest
from slips import FILES, SLIPS, VISIT, VISIT_TEXT
from sound_site import AS_OF, found_in


def typed(slip):
    """The file with the slip in it, and the line and column that the first message must name."""
    text = FILES[slip.path]
    assert text.count(slip.right) == 1, slip.right
    marked = text.replace(slip.right, slip.typed)
    assert marked.count("»") == 1, slip.typed
    before, _, after = marked.partition("»")
    return before + after, before.count("\n") + 1, len(before) - before.rfind("\n")


def wrong_with(slip):
    """What is wrong with the first message for a slip, or ""."""
    text, line, column = typed(slip)
    found = found_in({**FILES, slip.path: text}, AS_OF)
    if not found:
        return "nothing is said"
    first = found[0]
    offered = f"{first.nearest}\n{first.expected}\n{first.remedy}"
    at_fault = {one.position.path for one in found if one.is_error}
    wrong = [
        (not first.is_error, "a warning comes first"),
        (first.position.path != slip.path, "another file is named"),
        (first.position.line != line, f"line {first.position.line}, not {line}"),
        (first.position.column != column, f"column {first.position.column}, not {column}"),
        (any(word not in first.message for word in slip.message), f"words {slip.message}"),
        (slip.remedy not in offered, f"remedy {slip.remedy}"),
        (
            any(not one.is_error and one.position.path in at_fault for one in found),
            "a foreman's question of a file at fault",
        ),
    ]
    faults = "; ".join(words for is_wrong, words in wrong if is_wrong)
    return faults and f"{slip.typed!r}: {faults}\n    {first.message} | {offered!r}"


def test_the_files_are_right_before_a_slip():
    assert found_in(FILES, AS_OF) == ()


@pytest.mark.parametrize(
    ("typed_path", "words", "remedy"),
    [
        ("observations/2026/11/2026-11-24T07:10-m-tarrow.yaml", "the time and the person", "2026-11-24T0710-m-tarrow.yaml"),
        ("observations/2026/11/2026-11-24 0710 m-tarrow.yaml", "the time and the person", "2026-11-24T0710-m-tarrow.yaml"),
        ("observations/2026/11/2026-11-24T0710_M-Tarrow.yaml", "the time and the person", "2026-11-24T0710-m-tarrow.yaml"),
        ("observations/2026/11/2026-11-24.yaml", "the time and the person", "observations/YYYY/MM"),
        ("observations/2026/11/2026-11-24T0710-m-tarrow (1).yaml", "copy", "2026-11-24T0710-m-tarrow.yaml"),
        ("observations/2026/11/2026-11-24T0710-m-tarrow.yml", ".yaml", "2026-11-24T0710-m-tarrow.yaml"),
        ("observations/2026/11/2026-11-24T0710-m-tarrow.yaml.txt", ".yaml", "2026-11-24T0710-m-tarrow.yaml"),
        ("observations/2026/2026-11-24T0710-m-tarrow.yaml", "folders", "observations/2026/11/"),
        ("observations/2026/11/2026-11-24T2400-m-tarrow.yaml", "calendar", "minute"),
        ("observation/2026/11/2026-11-24T0710-m-tarrow.yaml", "where no visits are read", "observations/2026/11/"),
        ("2026-11-24T0710-m-tarrow.yaml", "where no visits are read", "observations/2026/11/"),
    ],
)  # fmt: skip
def test_a_file_name_mistyped_is_what_the_first_message_names(typed_path, words, remedy):
    files = {path: text for path, text in FILES.items() if path != VISIT}
    first = found_in({**files, typed_path: VISIT_TEXT}, AS_OF)[0]
    assert first.is_error
    assert first.position.path == typed_path
    assert words in first.message
    assert remedy in f"{first.nearest} {first.expected} {first.remedy}"


def test_share_of_slips_whose_first_message_is_right(capsys):
    assert len(SLIPS) >= 60
    wrong = [words for slip in SLIPS if (words := wrong_with(slip))]
    with capsys.disabled():
        right = len(SLIPS) - len(wrong)
        sys.stdout.write(f"\n{right} of {len(SLIPS)} slips: the first message is right\n")
    assert not wrong, "\n".join(wrong)
