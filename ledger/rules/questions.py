"""Every question that a foreman would ask, by its rule, with why it is asked.

They are the keys of `policy: rules:` in the schema of site.yaml, so an editor and the reference of
the keys tell them too.
"""

from collections.abc import Mapping

from ledger.files.paths import Kind
from ledger.files.schemas import shipped_schemas, uri_of

_POLICY = shipped_schemas().by_uri[uri_of(Kind.SITE)]["properties"]["policy"]["properties"]

QUESTIONS: Mapping[str, str] = {
    rule: one["description"] for rule, one in _POLICY["rules"]["properties"].items()
}
