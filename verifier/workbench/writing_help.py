"""Help with writing, as the page's editor shows it: what can stand at a place, what a word means.

In: a text and a place in it. Out: JSON. The text stands alone: what it includes is not read.
"""

from verifier.assist.completion import proposals
from verifier.assist.hover import hover
from verifier.assist.naming import names_of
from verifier.assist.navigation import Family
from verifier.assist.pieces import text_of
from verifier.language.source import Source
from verifier.reports.json_parts import Json

# So many proposals fit on the page.
MOST_SHOWN = 200


def proposals_json(text: str, offset: int) -> Json:
    """What can be written at a place, the likeliest first."""
    found = proposals(_alone(text), 0, min(offset, len(text)))
    return {
        "proposals": [
            {"text": p.text, "sort": p.sort, "about": p.about, "start": p.start, "end": p.end}
            for p in found[:MOST_SHOWN]
        ]
    }


def meaning_json(text: str, offset: int) -> Json:
    """What the word at a place means; without `lines` if nothing is to be said."""
    found = hover(_alone(text), 0, min(offset, len(text)))
    if found is None:
        return {}
    return {"start": found.start, "end": found.end, "lines": found.lines, "code": found.code}


def _alone(text: str) -> Family:
    return Family((names_of(text_of(Source("", text))),))
