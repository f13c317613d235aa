"""What the crew of a layout without locks has to promise, for the page: each promise with what
happens where it is broken, and the equipment in its place.

In: a text. Out: JSON. Called in a worker.
"""

from pathlib import Path

from verifier.api import checked
from verifier.engines.stopping import checkpoint, stoppable, time_limit
from verifier.repair.fewest_promises import Fewest, Needed, fewest_promises
from verifier.reports.json_parts import Json
from verifier.reports.words import sentence, story_words


def promises_json(
    text: str, name: str, path: Path | None, timeout: float | None, within: float | None
) -> Json:
    """The ``promises``, ``together`` what replaces all about some points, and ``stopped`` why the
    work ended early.

    Raises :class:`InputError`."""
    with stoppable(), time_limit(within):
        plan, _ = checked(text, name, path)
        found = fewest_promises(plan, timeout, checkpoint)
    return {
        "promises": [_promise(needed, found) for needed in found.needed],
        "together": [f"In place of all promises about {about} (proved): {lock}."
                     for about, lock in found.together.items()],
        "stopped": found.stopped,
    }  # fmt: skip


def _promise(needed: Needed, found: Fewest) -> Json:
    """``trouble``: what happens where it is broken, ``""`` where that is not known; ``events``: the
    history, and ``lead`` what stands before it; ``instead``: the equipment."""
    broken = needed.broken
    story = broken.finding.story if broken and broken.finding else None
    return {
        "promise": f"crew promises {needed.promise.text}",
        "trouble": sentence(broken.obligation.trouble) if broken else "",
        "lead": story_words(story) if story else "",
        "events": [event.text for event in story.events] if story else [],
        "instead": _instead(needed, found),
    }


def _instead(needed: Needed, found: Fewest) -> str:
    if needed.equipment:
        return (
            "What makes it unnecessary (proved, and every route can be set as before): "
            f"{needed.equipment}."
        )
    if needed.broken is None or found.stopped:
        return ""
    if any(about in found.together for about in needed.promise.about):
        return "One lock replaces it together with other promises: see below."
    return "No equipment that was tried makes it unnecessary."
