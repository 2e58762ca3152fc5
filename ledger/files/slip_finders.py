"""Slips that take counting, or a look at the lines around."""

import re
from collections.abc import Iterator, Sequence

from ledger.files.resources import format_key
from ledger.files.slip_patterns import (
    BLOCK_KEY,
    CLOSER_OF,
    COMMENT,
    FLOW_END,
    FLOW_KEY,
    ITEM,
    KEY,
    Fix,
    bare,
    format_spaces,
    in_quotes,
    indent_of,
    lines_before,
    unmatched_brackets,
    without_quoted,
)


def unclosed_bracket(lines: Sequence[str], n: int) -> Iterator[Fix]:
    line = lines[n]
    is_open, wrong = unmatched_brackets(line)
    if not is_open:
        return
    at = is_open[-1]
    if wrong is not None:
        # `[30, 60}}` lacks a bracket; `{a: 1]` has a wrong one.
        new = line[:wrong] + CLOSER_OF[line[at]] + line[wrong:]
        yield Fix(at, at + 1, (new,), {"bracket": line[at]})
        return
    end = len(bare(line).rstrip().rstrip(","))
    closing = "".join(CLOSER_OF[line[column]] for column in reversed(is_open))
    yield Fix(at, at + 1, (line[:end] + closing + line[end:].lstrip(","),), {"bracket": line[at]})


def wrong_bracket(lines: Sequence[str], n: int) -> Iterator[Fix]:
    line = lines[n]
    is_open, wrong = unmatched_brackets(line)
    if is_open and wrong is not None:
        right = CLOSER_OF[line[is_open[-1]]]
        new = line[:wrong] + right + line[wrong + 1 :]
        yield Fix(wrong, wrong + 1, (new,), {"bracket": line[wrong], "right": right})


def spare_bracket(lines: Sequence[str], n: int) -> Iterator[Fix]:
    line = lines[n]
    is_open, wrong = unmatched_brackets(line)
    if not is_open and wrong is not None:
        new = line[:wrong] + line[wrong + 1 :]
        yield Fix(wrong, wrong + 1, (new,), {"bracket": line[wrong]})


def missing_dash(lines: Sequence[str], n: int) -> Iterator[Fix]:
    line, start = lines[n], indent_of(lines[n])
    above = next(lines_before(lines, n), "")
    below = next((row for row in lines[n + 1 :] if row.strip()), "")
    is_in_list = any(
        row.lstrip().startswith("- ") and indent_of(row) == start
        for row in (*list(lines_before(lines, n))[:4], below)
    )
    opens_list = above.rstrip().endswith(":") and indent_of(above) <= start
    if line[start : start + 1] not in {"-", ""} and (is_in_list or opens_list):
        yield Fix(start, start + 1, (f"{line[:start]}- {line[start:]}",), {})
        # The other lines of the same entry move with it.
        rest = n + 1
        while (
            rest < len(lines)
            and lines[rest].strip()
            and indent_of(lines[rest]) >= start
            and not lines[rest].lstrip().startswith("- ")
        ):
            rest += 1
        moved = tuple("  " + row for row in lines[n + 1 : rest])
        yield Fix(
            start, start + 1, (f"{line[:start]}- {line[start:]}", *moved), {}, replaces=rest - n
        )


def value_below(lines: Sequence[str], n: int) -> Iterator[Fix]:
    above = lines[n - 1] if n else ""
    key = re.fullmatch(rf"{ITEM}(?P<key>{KEY}):\s*", above)
    line = lines[n]
    start = indent_of(line)
    is_value = re.match(rf"\s*(?:-\s|[{{[]|{KEY}:(?:\s|$)|$)", line) is None
    if key is not None and is_value:
        # The value is one line further in, which is the same as behind the colon.
        names = {"key": key["key"], "right": f"{key['key']}: {line.strip()}"}
        yield Fix(start, len(line.rstrip()), (" " * (indent_of(above) + 4) + line.strip(),), names)


def wrong_indent(lines: Sequence[str], n: int) -> Iterator[Fix]:
    line, start = lines[n], indent_of(lines[n])
    if not line.strip():
        return
    near = [
        *list(lines_before(lines, n))[:6],
        *[row for row in lines[n + 1 : n + 4] if row.strip()],
    ]
    depths: list[int] = []
    for row in near:
        dash = re.match(r"\s*-\s+", row)
        depths += [indent_of(row)] + (
            [dash.end()] if dash and not line[start:].startswith("-") else []
        )
    last = n + 1
    while last < len(lines) and lines[last].strip() and indent_of(lines[last]) > start:
        last += 1
    for depth in dict.fromkeys(depths):
        if depth == start:
            continue
        right = (
            f"indent it by {format_spaces(depth)}" if depth else "take the spaces before it away"
        )
        names = {"is": format_spaces(start), "right": right}
        moved = " " * depth + line.lstrip()
        yield Fix(start, start, (moved,), names)
        deeper = tuple(
            " " * max(0, indent_of(r) + depth - start) + r.lstrip() for r in lines[n + 1 : last]
        )
        if deeper:
            yield Fix(start, start, (moved, *deeper), names, replaces=last - n)


def indent_unlike_both(lines: Sequence[str], n: int) -> Iterator[Fix]:
    """A line between two that are indented alike, and it is not."""
    above = next(lines_before(lines, n), None)
    below = next((row for row in lines[n + 1 :] if bare(row).strip()), None)
    if above is None or below is None:
        return
    dash = re.match(r"\s*-\s+", above)
    depths = {indent_of(above), dash.end() if dash else indent_of(above)}
    for fix in wrong_indent(lines, n):
        depth = indent_of(fix.lines[0])
        if len(fix.lines) == 1 and depth in depths and depth == indent_of(below):
            yield fix


def two_entries(lines: Sequence[str], n: int) -> Iterator[Fix]:
    line = lines[n]
    found = re.search(
        rf"[}}\]](?P<slip>[,\s]*(?:-\s+)?)(?=\{{)|\S(?P<last>\s+-\s+)(?=\{{|{KEY}:\s)", bare(line)
    )
    if found and line.lstrip().startswith("-"):
        start, end = found.span("slip" if found["slip"] is not None else "last")
        first, second = line[:start], line[end:]
        at = end - len(line[start:end].lstrip())
        yield Fix(
            at, at + 1, (first, f"{' ' * indent_of(line)}- {second}"), {"right": f"- {second}"}
        )


def sign_in_braces(lines: Sequence[str], n: int) -> Iterator[Fix]:
    """A # that turns the rest of a line in braces into a comment."""
    line = without_quoted(lines[n])
    at = COMMENT.search(line)
    if at is None or not unmatched_brackets(lines[n])[0] or not re.search(r"[}\]]", at[0]):
        return
    for match in re.finditer(rf"{FLOW_KEY}(?P<slip>[^\"'{{}}\[\]]+?){FLOW_END}", line):
        if match.start("slip") <= at.start() < match.end("slip"):
            new = in_quotes(lines[n][slice(*match.span("slip"))])
            right = lines[n][: match.start("slip")] + new + lines[n][match.end("slip") :]
            yield Fix(at.start(), at.start() + 1, (right,), {})
    # A number behind a word, as in the name of an entry of a visit.
    if re.match(r"#[0-9]+\s*\]", lines[n][at.start() :]):
        right = lines[n][: at.start()].rstrip() + lines[n][at.start() :]
        yield Fix(at.start(), at.start() + 1, (right,), {})
    # Outside a text it is a comment, and nothing but the comment can go.
    comment = re.match(r"\s*#[^,}\]]*", lines[n][at.start() :])
    if comment is not None:
        right = lines[n][: at.start()].rstrip() + lines[n][at.start() + comment.end() :]
        yield Fix(at.start(), at.start() + 1, (right,), {})


def open_quote(lines: Sequence[str], n: int) -> Iterator[Fix]:
    line = lines[n]
    for match in re.finditer(r"(?<![^\s\[{,:])[\"']", bare(line)):
        rest = line[match.end() :]
        ends = [m.start() for m in re.finditer(rf",\s*{KEY}:\s|[}}\]]\s*$|\s*$", rest)]
        for end in ends:
            at = match.end() + end
            yield Fix(match.start(), match.end(), (line[:at] + match[0] + line[at:],), {})


def quote_in_quotes(lines: Sequence[str], n: int) -> Iterator[Fix]:
    line = lines[n]
    for pattern in (rf"{BLOCK_KEY}(?P<slip>.+?)\s*$", rf"{FLOW_KEY}(?P<slip>.+?){FLOW_END}"):
        for match in re.finditer(pattern, line):
            text, (start, end) = match["slip"], match.span("slip")
            sign = text[0]
            if sign not in "\"'" or sign not in text[1:]:
                continue
            inner = text[1:-1] if text.endswith(sign) else text
            yield Fix(start, end, (line[:start] + in_quotes(inner) + line[end:],), {"sign": sign})


def pasted_line(lines: Sequence[str], n: int) -> Iterator[Fix]:
    if re.match(r"\s*(?:```|~~~|</?[a-z]+>|\|.*\|\s*$|\*\*.*\*\*\s*$)", lines[n]):
        start = indent_of(lines[n])
        yield Fix(start, len(lines[n].rstrip()), (), {})


def merge_mark(lines: Sequence[str], n: int) -> Iterator[Fix]:
    mark = re.match(r"<{7}|={7}|>{7}", lines[n])
    if mark:
        yield Fix(0, mark.end(), (), {})


def list_beside_key(lines: Sequence[str], n: int) -> Iterator[Fix]:
    """The first item of a list on the line of the list's key."""
    found = re.match(rf"(\s*)(?P<key>{KEY}):\s+(?P<item>-\s.*)", lines[n])
    if found:
        near = [row for row in lines[n + 1 :] if row.lstrip().startswith("- ")]
        depth = indent_of(near[0]) if near else indent_of(lines[n]) + 2
        start = found.start("item")
        new = (f"{found[1]}{found['key']}:", " " * depth + found["item"])
        yield Fix(start, start + 1, new, {"key": found["key"]})


def key_without_value(lines: Sequence[str], n: int) -> Iterator[Fix]:
    """A key alone on its line, without its colon, above what it holds."""
    line = lines[n]
    alone = re.fullmatch(rf"{ITEM}(?P<key>{KEY})\s*", bare(line))
    below = next((row for row in lines[n + 1 :] if bare(row).strip()), "")
    deeper = indent_of(below) > indent_of(line) or below.lstrip().startswith("- ")
    if alone and (deeper or alone["key"] in format_key()):
        end = alone.end("key")
        names = {"key": alone["key"]}
        yield Fix(alone.start("key"), end, (f"{line[:end]}:{line[end:]}",), names)


def text_goes_on(lines: Sequence[str], n: int) -> Iterator[Fix]:
    """Text that goes on in the next line, and has a colon there."""
    line, above = lines[n], lines[n - 1] if n else ""
    key = re.fullmatch(rf"(?P<before>{ITEM}{KEY}:\s+)(?P<text>[^\s{{\[\"'].*)", above)
    # No key has a space in it.
    colon = re.match(r"\s*[^\s:]+\s[^:]*:(?:\s|$)", line)
    if key and colon and indent_of(line) > indent_of(above):
        whole = f"{key['text'].rstrip()} {line.strip()}"
        start = indent_of(line)
        new = (key["before"] + in_quotes(whole),)
        yield Fix(start, len(line.rstrip()), new, {}, above=1)


def braces_missing(lines: Sequence[str], n: int) -> Iterator[Fix]:
    """Several keys on one line with one brace or none around them."""
    line = lines[n]
    found = re.match(
        rf"(?:\s*-\s+|\s*{KEY}:\s+)(?P<keys>{KEY}:\s[^,]*,\s*{KEY}:\s.*|{KEY}:\s.*\}}\s*$)", line
    )
    if found:
        start, keys = found.start("keys"), found["keys"].rstrip()
        closing = "" if unmatched_brackets(line)[1] is not None else "}"
        yield Fix(start, start + 1, (f"{line[:start]}{{{keys}{closing}",), {})
