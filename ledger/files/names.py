"""Names that have a meaning in the folder of a site, for those who must not import much."""

import os

SITE_FILE = "site.yaml"

#: The folder of the rendered book.
BOOK = "book"

#: The folder of pictures; nothing reads them.
PHOTOS = "photos"

#: The branch that the book's pages go to where the site says so.
BOOK_BRANCH = "book"

#: Copies of the schemas, for an editor; dotted, so that no reader takes one for a record.
SCHEMAS = ".schemas"

#: Every temporary name ends so and begins with a dot; git ignores it in a new site.
PART_ENDING = ".tunnelbook-part"


def site_above(folder: str) -> str | None:
    """The folder, or the nearest one above it, that holds site.yaml."""
    return _above(folder, SITE_FILE)


def repository_above(folder: str) -> str | None:
    """The folder, or the nearest one above it, that is the top of a git repository."""
    return _above(folder, ".git")


def _above(folder: str, name: str) -> str | None:
    while not os.path.exists(os.path.join(folder, name)):
        above = os.path.dirname(folder)
        if above == folder:
            return None
        folder = above
    return folder
