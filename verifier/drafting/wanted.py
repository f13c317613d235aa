"""What is asked of a draft, in the trade's words."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, get_args

# What signals tell: whether to proceed; whether the next one does (3), and the second one (4);
# whether the next one leads over a diverging route, or at what speed it is passed.
Aspects = Literal[2, 3, 4, "route", "speed"]
ASPECTS: dict[str, Aspects] = {
    "two": 2, "three": 3, "four": 4, "route": "route", "speed": "speed",
}  # fmt: skip

# What clears signals: a lever of a dispatcher's panel for each way through a place; a button at
# each signal and one where its route ends (entrance-exit); levers of a frame, which lock each
# other; or trains and track alone.
Panel = Literal["dispatcher", "buttons", "levers", "automatic"]
PANELS: tuple[Panel, ...] = get_args(Panel)

# What keeps opposing trains off single track: each signal lever checks those at the other end
# (signals); one lever for both ways; a direction of traffic, which is locked while a train or a
# signal uses it; or that, with signals at the gaps on the way, so that trains may follow each other
# (apb, absolute permissive block).
SingleTrack = Literal["signals", "lever", "traffic", "apb"]
SINGLE_TRACKS: tuple[SingleTrack, ...] = get_args(SingleTrack)


# What holds points ahead of a train and behind it: the track up to them, so that each is free as
# soon as the train is past it (sectional); all track between the signal and the last points
# (route); or that, and the time a train needs that cannot stop any more (time).
Release = Literal["sectional", "route", "time"]
RELEASES: tuple[Release, ...] = get_args(Release)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is asked of a draft: ``aspects``, 2 (proceed or stop), 3 (the next signal too), 4 (the
    second one, too), ``route`` or ``speed`` (that of the next one, too); whether switches are
    thrown ``by_hand``, held by what the crew promises, not by locks; what clears signals
    (``panel``); what keeps trains apart on ``single_track``; what releases points
    (``release``); and whether the ``wiring`` is written, too. Without a panel, switches are thrown
    by hand."""

    aspects: Aspects = 3
    by_hand: bool = False
    panel: Panel = "dispatcher"
    single_track: SingleTrack = "signals"
    release: Release = "sectional"
    wiring: bool = False

    @property
    def contradictions(self) -> Iterator[str]:
        """Which two options do not go together, and why."""
        if self.panel == "automatic" and self.single_track != "signals":
            yield (
                f"--panel automatic and --single-track {self.single_track} contradict each other: "
                "without a panel there is no lever to set a direction with. Leave out one of them."
            )
        if self.panel == "automatic" and self.release != "sectional":
            yield (
                f"--panel automatic and --release {self.release} contradict each other: switches "
                "are thrown by hand then, and nothing locks them. Leave out one of them."
            )
        elif self.by_hand and self.release != "sectional":
            yield (
                f"--switches hand and --release {self.release} contradict each other: nothing "
                "locks switches that are thrown by hand. Leave out one of them."
            )
        if self.panel == "buttons" and self.release == "time":
            yield (
                "--panel buttons and --release time contradict each other: a route relay may drop "
                "before the timer has seen its signal clear. Leave out one of them."
            )
        if self.panel == "buttons" and self.by_hand:
            yield (
                "--panel buttons and --switches hand contradict each other: the two buttons of a "
                "route throw its switches. Leave out one of them."
            )
