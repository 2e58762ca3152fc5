"""What a branch changes of that by which it is checked itself: jobs, tool, owners, rules."""

from collections.abc import Iterable, Iterator, Mapping
from pathlib import PurePosixPath

from ledger.files.document import Document

_JOBS_AND_TOOL = (
    ".github/",
    ".gitlab/",
    ".gitlab-ci.yml",
    ".forgejo/",
    ".gitea/",
    "tool/",
)

_OWNERS = "CODEOWNERS"

_RULES = ("policy", "people")

_SITE = "site.yaml"


def changed_checks(
    other_files: Iterable[str],
    prefix: str,
    before: Mapping[str, Document],
    after: Mapping[str, Document],
) -> tuple[str, ...]:
    """The jobs, the tool's pin, the owners and the rules that a branch touches, in order.

    `other_files` are its files beside those of the record, from the repository's top; `prefix` is
    the site's folder there. While it touches any, its own green check proves nothing: it may have
    been made by what the branch put in.
    """
    return (
        *(path for path in other_files if _is_check(path) or _is_check(path.removeprefix(prefix))),
        *_rules(before, after),
    )


def _is_check(path: str) -> bool:
    return path.startswith(_JOBS_AND_TOOL) or PurePosixPath(path).name == _OWNERS


def _rules(before: Mapping[str, Document], after: Mapping[str, Document]) -> Iterator[str]:
    if _SITE not in before or _SITE not in after:
        return
    for key in _RULES:
        if before[_SITE].value.get(key) != after[_SITE].value.get(key):
            yield f"{key} in {_SITE}"
