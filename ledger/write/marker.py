"""The sentence by which a file of the book is known as one this program made."""

MARKER = "Rendered by tunnelbook from the files of this site; edits here are lost."

# A page starts with it; markup that must come first (a document type) is short.
_WITHIN = 400


def has_marker(text: str) -> bool:
    return MARKER in text[:_WITHIN]
