"""What the tests have workers do."""

import os
import signal
import time
from collections.abc import Mapping
from pathlib import Path

from verifier.farm import versions


def squared(number: int, noted: str, seconds: float = 0.0) -> int:
    """The square of a number; ``noted``: where it is written that it was worked out."""
    time.sleep(seconds)
    with Path(noted).open("a") as file:
        file.write(f"{number}\n")
    return number * number


def dies(_number: int) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def raises(_number: int) -> None:
    raise ValueError("as asked")


def pretend(other: Mapping[str, str] | None) -> None:
    """On a worker: from now on it has other versions, or its own again."""
    from verifier.farm import cluster

    def versions_there() -> Mapping[str, str]:
        return {**versions.own(), **(other or {})}

    versions.versions = versions_there
    setattr(cluster, "versions", versions_there)  # noqa: B010 - it imports it by name
