"""What a sweep has found so far, kept beside its table so that it can be taken up again.

One line for each case, signed with a key that only the user has (HMAC-SHA-256). A line that was
written in part, or by anybody else, is as if it were not there: the case is worked out again. So
each row is kept whole or not at all, and none twice.
"""

import hmac
import json
import os
from collections.abc import Mapping
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from types import TracebackType

from verifier.language.writing import UnwritableError, check_target, reason

ENDING = ".journal"


class Journal:
    """The rows of a sweep by the digests of its cases. ``sweep`` says which one it is: rows of
    another are not taken over. Raises UnwritableError."""

    def __init__(self, table: Path, key: bytes, sweep: str):
        self.path = table.with_name(table.name + ENDING)
        self._key = key
        self._sweep = sweep
        self.rows: dict[str, Mapping[str, str]] = {}
        check_target(self.path)
        with_end = self._read()
        self._is_new = not self.path.exists()
        try:
            self._file = self.path.open("ab")
            if not with_end:  # the last line was written in part
                self._file.write(b"\n")
        except OSError as error:
            raise UnwritableError(f"{self.path} cannot be written: {reason(error)}.") from None

    def __enter__(self) -> "Journal":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:  # fmt: skip
        with suppress(OSError):  # what it could not hold was told when it was added
            self._file.close()
        if self._is_new and not self.rows:
            self.path.unlink(missing_ok=True)

    def add(self, digest: str, row: Mapping[str, str]) -> None:
        """Keep a row, from now on even if the computer stops. Raises UnwritableError."""
        body = json.dumps([self._sweep, digest, row]).encode()
        try:
            self._file.write(self._signature(body) + b" " + body + b"\n")
            self._file.flush()
            os.fsync(self._file.fileno())
        except OSError as error:
            raise UnwritableError(f"{self.path} cannot be written: {reason(error)}.") from None
        self.rows[digest] = row

    def remove(self) -> None:
        """All of it is in the table."""
        self._file.close()
        self.path.unlink(missing_ok=True)

    def _read(self) -> bool:
        """Take over what is there. Whether its last line has an end."""
        try:
            raw = self.path.read_bytes()
        except OSError:
            return True
        for line in raw.split(b"\n"):
            signed, _, body = line.partition(b" ")
            if body and hmac.compare_digest(signed, self._signature(body)):
                sweep, digest, row = json.loads(body)
                if sweep == self._sweep:
                    self.rows[digest] = row
        return not raw or raw.endswith(b"\n")

    def _signature(self, body: bytes) -> bytes:
        return hmac.new(self._key, body, sha256).hexdigest().encode()
