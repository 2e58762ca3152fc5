"""What a person wrote as CommonMark, as part of a page.

It is parsed with raw HTML off and written anew from the parse: fences are closed, reference links
become plain links, pictures become links, headings go below the page's own, and every other
character that could mean markup is escaped. The result is parsed again, as strictly as any host
would (raw HTML, tables and strike-through on); if that does not say the same, the text is shown as
typed in a fence instead. So no text can break a page.
"""

from collections.abc import Iterator, Sequence

from markdown_it import MarkdownIt
from markdown_it.token import Token
from markdown_it.tree import SyntaxTreeNode

from ledger.book.escape import markdown_text, visible
from ledger.book.markdown import code_span, fenced, guarded_line

READER = MarkdownIt("commonmark", {"html": False})

_HOST = MarkdownIt("commonmark", {"html": True}).enable(["table", "strikethrough"])

_DEEPEST = 6


def embedded(commonmark: str, under_level: int) -> str:
    """CommonMark that means the same as `commonmark`, its headings below `under_level`.

    Ends without a line feed; empty for text that shows nothing.
    """
    tokens = prose_tokens(commonmark, under_level)
    written = "\n".join(_blocks(SyntaxTreeNode(tokens).children, is_tight=False))
    meant = READER.renderer.render(tokens, READER.options, {})
    if _HOST.render(written) == meant:
        return written
    return fenced(_typed(commonmark))


def prose_tokens(commonmark: str, under_level: int) -> list[Token]:
    """What a person wrote, parsed by `READER`, its headings below `under_level`, no pictures."""
    return _adapted(READER.parse(_typed(commonmark)), under_level)


def _typed(commonmark: str) -> str:
    return visible(commonmark.replace("\r\n", "\n").replace("\r", "\n"))


def _adapted(tokens: Sequence[Token], under_level: int) -> list[Token]:
    """Headings in steps of one below `under_level`, indented code as fences, pictures as links."""
    levels = sorted({token.tag for token in tokens if token.type.startswith("heading_")})
    adapted: list[Token] = []
    for token in tokens:
        if token.type.startswith("heading_"):
            level = min(_DEEPEST, under_level + 1 + levels.index(token.tag))
            token.tag = f"h{level}"
        elif token.type in ("fence", "code_block"):
            token.type, token.tag, token.info = "fence", "code", ""
            if token.content and not token.content.endswith("\n"):
                token.content += "\n"
        elif token.children:
            in_heading = bool(adapted) and adapted[-1].type == "heading_open"
            token.children = list(_without_pictures(token.children, in_heading=in_heading))
        adapted.append(token)
    return adapted


def _without_pictures(children: Sequence[Token], *, in_heading: bool) -> Iterator[Token]:
    link_depth = 0
    for child in children:
        link_depth += child.nesting if child.type.startswith("link_") else 0
        if child.type == "image":
            words = Token("text", "", 0, content=child.content or str(child.attrs["src"]))
            if link_depth:
                yield words
                continue
            yield Token("link_open", "a", 1, attrs={"href": child.attrs["src"]})
            yield words
            yield Token("link_close", "a", -1)
        elif child.type in ("softbreak", "hardbreak") and in_heading:
            yield Token("text", "", 0, content=" ")
        else:
            yield child


def _blocks(nodes: Sequence[SyntaxTreeNode], *, is_tight: bool) -> list[str]:
    lines: list[str] = []
    flips = 0
    for at, node in enumerate(nodes):
        if at and not is_tight:
            lines.append("")
        # Two lists side by side stay two only if their markers differ.
        flips = flips + 1 if at and nodes[at - 1].type == node.type else 0
        lines += _prose_block(node, flips % 2)
    return lines


def _prose_block(node: SyntaxTreeNode, flip: int) -> list[str]:
    match node.type:
        case "heading":
            return [f"{'#' * int(node.tag[1:])} {_prose_inline(node)}".rstrip(" ")]
        case "paragraph":
            return [guarded_line(line) for line in _prose_inline(node).split("\n")]
        case "bullet_list":
            return _list(node, ["*+"[flip] + " "] * len(node.children))
        case "ordered_list":
            start = int(node.attrs.get("start", 1))
            ends = ".)"[flip]
            return _list(node, [f"{start + n}{ends} " for n in range(len(node.children))])
        case "blockquote":
            lines = _blocks(node.children, is_tight=False) or [""]
            return [f"> {line}".rstrip(" ") for line in lines]
        case "hr":
            return ["___"]
        case "fence":
            return fenced(node.content).split("\n")
        case _:
            return []


def _list(node: SyntaxTreeNode, markers: Sequence[str]) -> list[str]:
    children = [child for item in node.children for child in item.children]
    paragraphs = [child for child in children if child.type == "paragraph"]
    is_tight = not paragraphs or any(one.hidden for one in paragraphs)
    lines: list[str] = []
    for at, (marker, item) in enumerate(zip(markers, node.children, strict=True)):
        if at and not is_tight:
            lines.append("")
        first, *others = _blocks(item.children, is_tight=is_tight) or [""]
        lines.append(f"{marker}{first}".rstrip(" "))
        lines += [f"{' ' * len(marker)}{line}".rstrip(" ") for line in others]
    return lines


def _prose_inline(node: SyntaxTreeNode) -> str:
    return "".join(map(_span, node.children[0].children)) if node.children else ""


def _span(node: SyntaxTreeNode) -> str:
    inner = "".join(map(_span, node.children))
    match node.type:
        case "text":
            return _text(node)
        case "softbreak":
            return "\n"
        case "hardbreak":
            return "\\\n"
        case "code_inline":
            return code_span(node.content)
        case "em" | "strong":
            return f"{node.markup}{inner}{node.markup}"
        case "link":
            return f"[{inner}](<{node.attrs['href']}>{_title(node)})"
        case _:
            return inner


def _text(node: SyntaxTreeNode) -> str:
    # A hard space at the end of a line would be taken off; `!` would make a link a picture.
    words = markdown_text(node.content).replace("\u00a0", "&nbsp;")
    following = node.next_sibling
    if words.endswith("!") and following is not None and following.type == "link":
        return f"{words[:-1]}\\!"
    return words


def _title(node: SyntaxTreeNode) -> str:
    title = str(node.attrs.get("title", ""))
    quoted = title.replace("\\", "\\\\").replace('"', '\\"').replace("&", "&amp;")
    return f' "{quoted}"' if title else ""
